"""Pans, burners, contents and food as heat."""
