"""Batches from files: rows in, answers out, in order, in constant memory, resumable."""
