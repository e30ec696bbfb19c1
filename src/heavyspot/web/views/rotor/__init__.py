"""What a loose rotor's pages show: its work, a machine's proofs, which parts go together."""
