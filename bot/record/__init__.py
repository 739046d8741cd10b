"""The append-only record in SQLite."""
