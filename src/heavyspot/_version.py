"""The program's version; frozen into every run so that a reading can be repeated."""

__version__ = "0.2.0"
