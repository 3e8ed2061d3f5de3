"""Sensors and reference probes: raw words, drift, noise, thermocouples, clocks, waking."""
