"""Twelve cooks of a second simulator: a project made of them, and scores against their truth."""
