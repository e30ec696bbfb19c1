"""Entries from one store to another, once, and what is held where two disagree."""
