"""The store: one SQLite file per bench with journal, records and outbox, and the hash chain over them."""
