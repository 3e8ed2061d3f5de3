"""Pans in frames: edge, covered pixels, rings, trends."""
