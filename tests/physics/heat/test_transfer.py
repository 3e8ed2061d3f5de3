"""Gaps and natural convection by hand and by the textbook."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.heat.transfer import convection_line, convection_w_m2k, gap_conductance_w_m2k


def test_gap_of_a_bowed_base():
    """Conductivity over gap at middle and rim: 0.0263 W/mK over 1.15 mm and 0.15 mm."""
    up = gap_conductance_w_m2k([0.0, 1.0], bow_m=1e-3)
    assert up == pytest.approx([0.0263 / 1.15e-3, 0.0263 / 0.15e-3])
    assert gap_conductance_w_m2k([0.0, 1.0], bow_m=-1e-3) == pytest.approx(up[::-1])


def test_convection_is_the_textbooks():
    """A glass-door screen 0.71 m high at 232 C in a room at 23 C: 7.0 W/m2K.

    Incropera et al., example 9.2, from memory.  The ratio of up to down is 0.54 / 0.27.
    """
    door = convection_w_m2k(209.0, ambient_k=296.15, length_m=0.71, facing="side")
    assert door == pytest.approx(7.0, rel=0.01)
    up, down = (
        convection_w_m2k(180.0, ambient_k=293.15, length_m=0.065, facing=way)
        for way in ("up", "down")
    )
    assert up / down == pytest.approx(2.0)
    line = convection_line(ambient_k=293.15, length_m=0.065, facing="up")
    rise = np.linspace(60.0, 350.0, 30)
    law = convection_w_m2k(rise, ambient_k=293.15, length_m=0.065, facing="up")
    assert np.abs(line.at(rise) / law - 1.0).max() < 0.06
    assert line.error_frac < 0.15
