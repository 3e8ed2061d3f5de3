"""Checks of the simulator: each measures one figure, with its limit, source and conditions."""
