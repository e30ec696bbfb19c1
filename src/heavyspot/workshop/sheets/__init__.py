"""Sheets: the report of each kind, issued, made anew in bulk, proved."""
