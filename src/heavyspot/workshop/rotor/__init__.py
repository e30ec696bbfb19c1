"""Rotors on the low-speed machines: measured, judged, corrected; the machines proved."""
