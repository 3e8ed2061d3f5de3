"""The interval score and the lag of a reading, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from trivet.errors import InputError, NotEnoughDataError
from trivet.physics.sensor.alignment import reading_lag
from trivet.physics.statistics.agreement import interval_score


def test_interval_score_by_hand() -> None:
    # Width 4; outside by 1 costs 2 / 0.05 = 40 more (Gneiting and Raftery 2007, section 6.2).
    found = interval_score([0.0, -3.0, 2.0], half_width=[2.0, 2.0, 2.0])
    assert found == pytest.approx([4.0, 44.0, 4.0])
    with pytest.raises(InputError):
        interval_score([0.0], half_width=[1.0, 2.0])


@pytest.mark.parametrize("share", [0.5, 1.0, 2.0])
def test_interval_score_of_a_normal_error(share: float) -> None:
    # Mean over a normal error in closed form: 2 k + 80 (phi(k) - k (1 - Phi(k))).
    k = 1.959964 * share
    closed = 2 * k + 80 * (stats.norm.pdf(k) - k * stats.norm.sf(k))
    quantiles = stats.norm.ppf((np.arange(200_000) + 0.5) / 200_000)
    found = interval_score(quantiles, half_width=np.full(quantiles.size, k)).mean()
    assert found == pytest.approx(closed, rel=1e-3)
    assert closed >= 4.675


def _heating(time_s):
    """2 K/s until 60 s, then none: rate of a burner that is turned down."""
    return 350.0 + 2.0 * np.minimum(time_s, 60.0) + 0.2 * np.maximum(time_s - 60.0, 0.0)


@pytest.mark.parametrize("lag_s", [0.0, 2.0, -1.0])
def test_a_delay_is_found_beside_offset_and_gain(lag_s: float) -> None:
    time_s = np.arange(0.0, 120.0, 0.25)
    noise = np.random.default_rng(1).normal(0.0, 0.1, time_s.size)
    reading = 3.0 + 1.05 * _heating(time_s - lag_s) + noise
    found = reading_lag(reading, reference=_heating(time_s), time_s=time_s)
    assert found.lag_s == pytest.approx(lag_s * 1.05, abs=0.2)


def test_a_ramp_and_a_plateau_tell_no_lag() -> None:
    time_s = np.arange(0.0, 60.0, 0.25)
    for so in (300.0 + 2.0 * time_s, np.full(time_s.size, 373.0)):
        with pytest.raises(NotEnoughDataError):
            reading_lag(so + 1.0, reference=so, time_s=time_s)
    with pytest.raises(NotEnoughDataError, match="under 20 s"):
        reading_lag(time_s[:8], reference=time_s[:8], time_s=time_s[:8])
