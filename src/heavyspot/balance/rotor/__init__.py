"""The low-speed machines: rigid rotors, tolerances, places and sets of masses, proofs, matching."""
