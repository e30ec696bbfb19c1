"""Jobs and their pieces: amended, built, documented, and everything that happened to them."""
