"""From samples to curves: phase reference, order tracking, spectra, findings. Pure: arrays in, values out.

The one path is `Tracker`: feed it samples in any chunking, finish it, and `read_curves` turns the
track into curves. Live and recorded data go the same way and give the same numbers.
"""
