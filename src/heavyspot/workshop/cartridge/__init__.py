"""Cartridges on the high-speed rig: a recording read, judged, advised on, learnt from."""
