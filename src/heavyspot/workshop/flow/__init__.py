"""Flow tests of pieces, and what a flow bench measures with."""
