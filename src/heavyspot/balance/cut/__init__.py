"""The adviser: what a piece's runs and cuts say, and the cut that is expected to do most."""
