"""Flow: humid air, elements by ISO 5167, corrected flow, leaks, variable nozzles. Pure: no files, no clocks."""
