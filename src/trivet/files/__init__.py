"""Bytes to records and back: design and cook files, recordings, the store, what is handed out."""
