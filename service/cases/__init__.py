"""Cases kept safely: a conversation with its whole history, in SQLite beside the program or in PostgreSQL."""
