"""Taking samples: from a source to the disk, before anybody looks; here or in an own process; then followed."""
