"""Cited tables: every row has a source and a grade, or it does not load."""
