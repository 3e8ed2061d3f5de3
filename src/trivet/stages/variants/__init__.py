"""Changed designs side by side: one loop predicts each once and fills one table of answers."""
