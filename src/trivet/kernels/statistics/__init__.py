"""Intervals, agreement, uncertainty, conformance."""
