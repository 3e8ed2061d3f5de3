"""Boiling of water against the textbook and a second correlation; foam of butter."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.heat import boiling
from trivet.physics.heat.boiling import browned_frac, foam_frac
from trivet.physics.heat.loads import CRITICAL_W_M2, NUCLEATE_W_M2K3
from trivet.physics.heat.water import saturation_pressure_pa

BOIL_K = 373.124


def cooper_w_m2k(flux_w_m2):
    """Cooper, Adv. Heat Transfer 16 (1984) 157, water on a face of 1 um; from memory."""
    reduced = float(saturation_pressure_pa(BOIL_K)) / 22.064e6
    return 55.0 * reduced**0.12 * (-np.log10(reduced)) ** -0.55 * 18.015**-0.5 * flux_w_m2**0.67


def test_nucleate_boiling_of_the_textbook():
    """Incropera et al., example 10.1: copper at 118 C, 836 kW/m2; critical 1.26 MW/m2."""
    steep = boiling.nucleate_w_m2k3(BOIL_K, factor=0.0128)
    # the textbook prints Prandtl 1.76 for what its own properties make 1.73
    assert steep * 18.0**3 == pytest.approx(836e3, rel=0.06)
    assert steep == pytest.approx(NUCLEATE_W_M2K3, rel=0.06)
    zuber = 0.149 * 2.257e6 * 0.5956 * (0.0589 * 9.81 * (957.9 - 0.5956) / 0.5956**2) ** 0.25
    assert zuber == pytest.approx(1.26e6, rel=0.005)
    assert pytest.approx(1.26e6, rel=0.005) == CRITICAL_W_M2


def test_two_correlations_of_boiling_agree_within_their_scatter():
    """Rohsenow against Cooper at burner fluxes: 25 % in superheat is the stated scatter."""
    for flux in (1e4, 3e4, 1e5):
        rohsenow = (flux / boiling.nucleate_w_m2k3(BOIL_K, factor=0.0132)) ** (1.0 / 3.0)
        cooper = flux / cooper_w_m2k(flux)
        assert rohsenow == pytest.approx(float(cooper), rel=0.25)


def test_boiling_out_of_range_is_named():
    with pytest.raises(OutOfRangeError, match="surface factor"):
        boiling.nucleate_w_m2k3(BOIL_K, factor=0.0)


def test_foam_comes_and_goes_with_the_boiling_rate():
    assert foam_frac(0.0) == 0.0
    assert foam_frac(-1.0) == 0.0
    rate = 5e3 / 2.2565e6  # 5 kW/m2 into water
    assert foam_frac(rate) > 0.85
    assert foam_frac(rate / 10) < 0.3
    brown = browned_frac(np.full(600, 423.15), step_s=1.0)
    assert np.all(np.diff(brown) >= 0.0)
    assert brown[22] == pytest.approx(0.63, abs=0.05)


# USDA FSIS Appendix A (1999), 6.5 log10: temperature in F, seconds held.
