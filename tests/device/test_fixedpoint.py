"""The integer inversion against the exact one, and its edges."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.device import fixedpoint as fx
from trivet.errors import HandoffRefusedError, OutOfRangeError
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k
from trivet.physics.radiation.planck import band_radiance, flat_band

BAND = flat_band(8e-6, 14e-6)


@pytest.fixture(scope="module")
def table():
    return fx.radiance_table(band_radiance(fx.node_temperatures_k(), band=BAND))


def _words(kelvin, *, table, emissivity=1.0, transmittance=1.0, surround_k=300.0, window_k=300.0):
    return fx.surface_words(
        fx.temperature_q6(kelvin),
        emissivity=fx.share_q15(emissivity),
        transmittance=fx.share_q15(transmittance),
        surround=fx.temperature_q6(surround_k),
        window=fx.temperature_q6(window_k),
        table=table,
    )


def test_black_surface_returns_what_went_in(table):
    words = np.arange(fx.FIRST_NODE_K * 64, fx.LAST_NODE_K * 64)
    out = fx.surface_words(
        words,
        emissivity=fx.ONE_Q15,
        transmittance=fx.ONE_Q15,
        surround=300 * 64,
        window=300 * 64,
        table=table,
    )
    assert np.abs(out - words).max() == 0


@pytest.mark.parametrize("emissivity", [0.3, 0.55, 0.93, 1.0])
@pytest.mark.parametrize("transmittance", [0.7, 0.83, 1.0])
def test_round_trip_from_true_surfaces(table, emissivity, transmittance):
    # Forward by the exact kernels, back by the integers: worst 0.25 K over -20 to 500 C.
    true = np.linspace(253.15, 773.15, 4001)
    sight = LineOfSight(emissivity, 303.3, transmittance, 306.7)
    apparent = sighted_apparent_k(true, sight=sight, band=BAND)
    got = _words(
        apparent,
        table=table,
        emissivity=emissivity,
        transmittance=transmittance,
        surround_k=303.3,
        window_k=306.7,
    )
    assert np.abs(got / 64 - true).max() < 0.15


def test_sentinels_and_range(table):
    out = _words([np.nan, np.inf, -np.inf, 200.0, 900.0, 2000.0], table=table)
    assert out.tolist() == [
        fx.NO_READING,
        fx.OVER_RANGE,
        fx.UNDER_RANGE,
        fx.UNDER_RANGE,
        fx.OVER_RANGE,
        fx.OVER_RANGE,
    ]
    # Colder than the mirror allows: under range, never a cool number.
    assert _words(250.0, table=table, emissivity=0.3, surround_k=330.0) == fx.UNDER_RANGE
    # What is mirrored is unknown: no reading.
    assert _words(350.0, table=table, surround_k=np.nan) == fx.NO_READING
    assert _words(350.0, table=table, surround_k=np.inf) == fx.NO_READING
    # A hot scene through a dark window must not wrap round.
    assert _words(870.0, table=table, transmittance=1 / 32768, window_k=250.0) == fx.OVER_RANGE


def test_twin_and_compiled_code_agree_bit_by_bit(table, monkeypatch):
    rng = np.random.default_rng(3)
    cases = np.stack(
        [
            rng.integers(0, 65536, 3000),
            rng.integers(0, 32800, 3000),
            rng.integers(0, 32800, 3000),
            rng.integers(14000, 60000, 3000),
            rng.integers(14000, 60000, 3000),
        ]
    )
    compiled = fx.surface_words(
        cases[0],
        emissivity=cases[1],
        transmittance=cases[2],
        surround=cases[3],
        window=cases[4],
        table=table,
    )
    values = [int(v) for v in table.values]
    for name in ("radiance_of_q6", "q6_of_radiance", "without_share"):
        monkeypatch.setattr(fx, name, getattr(fx, name).py_func)
    plain = [
        fx.surface_q6.py_func(int(a), (int(e), int(t)), (int(s), int(w)), values)
        for a, e, t, s, w in cases.T
    ]
    assert compiled.tolist() == plain


def test_impossible_tables_and_words_are_refused():
    rising = np.linspace(1.0, 100.0, fx.TABLE_NODES)
    with pytest.raises(HandoffRefusedError, match="does not rise after node 10"):
        fx.radiance_table(np.where(np.arange(fx.TABLE_NODES) == 11, rising[9], rising))
    with pytest.raises(HandoffRefusedError, match="positive"):
        fx.radiance_table(rising[:-1])
    steep = np.concatenate([1e-3 * rising[:-1], [1e4]])
    with pytest.raises(HandoffRefusedError, match="overflow"):
        fx.radiance_table(steep)
    with pytest.raises(OutOfRangeError):
        fx.share_q15(0.0)
    with pytest.raises(OutOfRangeError, match="in C"):
        fx.temperature_q6([-20.0])
