"""Trivet: workbench for the design and proof of an overhead infrared cooktop monitor."""
