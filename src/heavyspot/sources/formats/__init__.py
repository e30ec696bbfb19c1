"""Readers of the formats of recordings, one a file; found through the entry points, not from here."""
