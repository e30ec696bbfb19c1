"""Entries by subject: added once, found again as they stand."""
