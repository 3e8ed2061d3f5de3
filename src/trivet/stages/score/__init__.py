"""The page of a score and its pictures."""
