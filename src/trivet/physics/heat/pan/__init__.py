"""Simulator of pans: ``cook.cook_pans`` solves them, ``model`` has what goes in and comes out."""
