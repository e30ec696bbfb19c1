"""Keeping: backups, retention, recordings read anew, and long work in the background."""
