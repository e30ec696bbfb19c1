"""Practising without a rig: the demo, simulated recordings, the example files."""
