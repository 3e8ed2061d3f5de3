"""Energy, payload and money."""
