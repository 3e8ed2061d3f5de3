"""Radiation in the band: Planck, surfaces, films, windows, droplets, and back to temperature."""
