"""Commands of a cartridge's work: spin, ground, sheet, show, and its recordings."""
