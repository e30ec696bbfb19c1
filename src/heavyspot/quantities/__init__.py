"""Units, angles, conventions and typed errors. Pure: knows no files, clocks, databases or screens."""
