"""The bench's pages: its state, its cuts, what is scanned, the second screen."""

from . import cuts, rigs, scanned, state

ROUTERS = (scanned.router, cuts.router, rigs.router, state.router)
"""In the order they are asked: the state's own address takes any serial."""
