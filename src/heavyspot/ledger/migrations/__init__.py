"""Schema changes, applied in order by Alembic, each in one transaction."""
