"""The shop's permanent record: tables, entries, and the archive of recordings. Nothing is overwritten."""
