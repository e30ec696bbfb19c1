"""Taking samples: from a source to the disk, before anybody looks at them; here or in a process of its own."""
