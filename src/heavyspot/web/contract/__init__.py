"""What holds for every address under /api: its version, the shape of a refusal, pages of a list, the schema."""
