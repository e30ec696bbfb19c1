"""A rig's agent: captures beside the rig, on a computer of its own, and hands each spin to the shop's server."""
