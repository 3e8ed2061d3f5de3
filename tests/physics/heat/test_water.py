"""Water: closure, refusals, and the whole range against iapws (dev dependency)."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.heat import water


def test_boiling_and_vapour_pressure_close():
    t = np.linspace(273.2, 640.0, 400)
    back = water.saturation_temperature_k(water.saturation_pressure_pa(t))
    assert back == pytest.approx(t, abs=1e-6)


def test_refusals():
    with pytest.raises(OutOfRangeError, match="pressure"):
        water.saturation_temperature_k(100.0)
    with pytest.raises(OutOfRangeError, match="temperature"):
        water.saturation_pressure_pa(25.0)
    with pytest.raises(OutOfRangeError, match="altitude"):
        water.boiling_point_k(20_000.0)
    with pytest.raises(OutOfRangeError, match="density"):
        water.water_density_kg_m3(450.0)
    with pytest.raises(OutOfRangeError, match="latent"):
        water.latent_heat_j_kg(20.0)


def test_weather_moves_the_boiling_point():
    """The slope of 0.277 K/kPa is published; 2 kPa is within its straight part."""
    rise = water.boiling_point_k(0.0, weather_pa=1000.0) - water.boiling_point_k(
        0.0, weather_pa=-1000.0
    )
    assert rise == pytest.approx(2 * 0.27651, abs=2e-4)


def test_properties_against_iapws():
    iapws = pytest.importorskip("iapws")
    for celsius in (3.0, 15.0, 37.0, 63.0, 88.0, 98.0, 125.0, 157.0):
        t = celsius + 273.15
        liquid, steam = iapws.IAPWS97(T=t, x=0), iapws.IAPWS97(T=t, x=1)
        heat = 1e3 * (steam.h - liquid.h)
        if celsius < 99.9:
            liquid = iapws.IAPWS97(T=t, P=0.101325)
        assert water.water_density_kg_m3(t) == pytest.approx(liquid.rho, rel=1e-5)
        assert water.water_specific_heat_j_kgk(t) == pytest.approx(1e3 * liquid.cp, rel=1e-4)
        assert water.latent_heat_j_kg(t) == pytest.approx(heat, rel=1e-5)
