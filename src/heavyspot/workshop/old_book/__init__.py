"""Bringing the old book in: tables of any layout, row by row, each row once."""
