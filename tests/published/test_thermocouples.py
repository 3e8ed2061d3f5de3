"""Thermocouple reference functions and tolerances against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError, ProbeLogError
from trivet.physics.sensor.probes import (
    ProbePlate,
    ProbeWire,
    attachment_error_frac,
    lag_corrected_k,
    surface_from_junction_k,
)
from trivet.physics.sensor.thermocouple import (
    emf_range_c,
    emf_v,
    temperature_k,
    tolerance_k,
)

KINDS = ("K", "T", "J", "N")


def _value(row):
    if row["quantity"] == "emf":
        return float(emf_v(row["temperature_c"] + 273.15, kind=row["kind"])) * 1e3
    if row["quantity"] == "seebeck":
        around_k = row["temperature_c"] + 273.15 + np.array([-0.5, 0.5])
        return float(np.diff(emf_v(around_k, kind=row["kind"]))[0]) * 1e6
    if row["quantity"] == "temperature":
        cold = row["cold_junction_c"] + 273.15
        got = temperature_k(row["emf_mv"] * 1e-3, kind=row["kind"], cold_junction_k=cold)
        return float(got) - 273.15
    return float(
        tolerance_k(
            row["temperature_c"] + 273.15,
            kind=row["kind"],
            tolerance_class=row["tolerance_class"],
        )
    )


def test_published_figures(published):
    rows = published("thermocouples")
    assert len(rows) > 60
    misses = [
        (row["id"], _value(row), row["expected"])
        for row in rows
        if abs(_value(row) - row["expected"]) > row["tolerance"]
    ]
    assert not misses


@pytest.mark.parametrize("kind", KINDS)
def test_inverse_of_forward(kind):
    low, high = emf_range_c(kind)
    wanted = np.linspace(max(low, -200.0), high, 1501) + 273.15
    got = temperature_k(emf_v(wanted, kind=kind), kind=kind)
    assert np.max(np.abs(got - wanted)) < 1e-6


def test_voltages_add_and_temperatures_do_not():
    """TC-CJ1: the short cut 4.096 mV -> 100 C, plus 25 C, is 0.69 K off."""
    wrong = float(temperature_k(4.096e-3, kind="K")) - 273.15 + 25.0
    right = float(temperature_k(4.096e-3, kind="K", cold_junction_k=298.15)) - 273.15
    assert wrong - right == pytest.approx(124.994 - 124.310, abs=0.01)


def test_open_circuit_is_nan_not_a_temperature():
    assert np.isnan(temperature_k(0.1, kind="K"))
    assert np.isnan(temperature_k(np.nan, kind="K"))


def test_out_of_range_is_named():
    with pytest.raises(OutOfRangeError, match=r"type T thermocouple at 450\.00 C.*-270 to 400"):
        emf_v(450.0 + 273.15, kind="T")
    with pytest.raises(OutOfRangeError, match="thermocouple type 'Q'"):
        emf_v(300.0, kind="Q")
    with pytest.raises(OutOfRangeError, match="'iec-3' of type J"):
        tolerance_k(300.0, kind="J", tolerance_class="iec-3")
    with pytest.raises(OutOfRangeError, match="defined for -40 to 350 C"):
        tolerance_k(700.0, kind="T", tolerance_class="iec-1")


WIRE = ProbeWire(diameter_m=0.25e-3, conductivity_w_mk=25.0, film_w_m2k=40.0)
PLATE = ProbePlate(thickness_m=5e-3, conductivity_w_mk=52.0, film_w_m2k=25.0)


def test_attachment_error_in_its_limits():
    """Two resistances in series with a fin: welded to copper -> 0; no contact -> 1."""
    thick = ProbePlate(thickness_m=0.02, conductivity_w_mk=390.0, film_w_m2k=25.0)
    welded = attachment_error_frac(1e9, bead_diameter_m=3e-3, wire=WIRE, plate=thick)
    assert welded < 1e-4
    loose = attachment_error_frac(1e-3, bead_diameter_m=1e-3, wire=WIRE, plate=PLATE)
    assert loose > 0.999
    # a fin of the classic formula alone, against a contact that conducts as much: one half
    fin = 2.0 * np.sqrt(40.0 * np.pi * 0.25e-3 * 25.0 * np.pi * 0.25e-3**2 / 4.0)
    equal = fin / (np.pi * 1.5e-3**2)
    half = attachment_error_frac(equal, bead_diameter_m=3e-3, wire=WIRE, plate=thick)
    assert half == pytest.approx(0.5, abs=2e-3)


def test_attachment_order_and_isothermal_run():
    """Common practice, no source: welded beats cement beats spring beats tape."""
    share = attachment_error_frac(
        [1e5, 5e3, 1e3, 3e2], bead_diameter_m=1.5e-3, wire=WIRE, plate=PLATE
    )
    assert np.all(np.diff(share) > 0)
    along = ProbeWire(0.25e-3, 25.0, 40.0, isothermal_m=20 * 0.25e-3)
    better = attachment_error_frac(1e3, bead_diameter_m=1.5e-3, wire=along, plate=PLATE)
    assert better < share[2]
    air, surface = 298.15, 473.15
    junction = surface - share[2] * (surface - air)
    back = surface_from_junction_k(junction, error_frac=share[2], air_k=air)
    assert back == pytest.approx(surface, abs=1e-9)


def test_lag_is_taken_out_of_a_ramp_and_of_an_exponential():
    time = np.arange(0.0, 120.0, 0.5)
    tau = 1.5
    lagging = 300.0 + 3.0 * (time - tau * (1.0 - np.exp(-time / tau)))  # exact answer to a ramp
    corrected = lag_corrected_k(lagging, time_s=time, time_constant_s=tau, window_s=3.0)
    late = time > 10.0
    late &= time < 118.0
    assert np.max(np.abs(corrected - (300.0 + 3.0 * time))[late]) < 1e-3
    assert np.max(np.abs(lagging - (300.0 + 3.0 * time))[late]) == pytest.approx(4.5, abs=0.01)


def test_lag_refuses_a_time_axis_that_turns():
    with pytest.raises(ProbeLogError, match="must increase"):
        lag_corrected_k([1.0, 2.0, 3.0], time_s=[0.0, 2.0, 1.0], time_constant_s=1.0, window_s=3.0)
