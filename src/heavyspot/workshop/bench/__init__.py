"""The bench: one rig, one piece, one question at a time; capture to disk first."""
