"""What a rig's pages show: its record, its health, its connecting."""
