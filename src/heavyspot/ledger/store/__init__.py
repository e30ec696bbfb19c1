"""The store under the entries: tables, chain, identifiers, the archive, moving it all."""
