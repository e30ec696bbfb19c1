"""The day: what is on each rig, what needs a person, what waits, what passed."""
