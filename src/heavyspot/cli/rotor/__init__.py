"""Commands of loose rotors: their work, the machines they turn on, and the sums of the trade."""
