"""Frozen records: what the stages take and return.  Nouns only; no verbs."""
