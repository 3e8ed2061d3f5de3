"""Lethality against the published hold table."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import InputError
from trivet.facts.contents import hold_table
from trivet.physics.heat.lethality import Z_K, hold_verdict, log_reduction

HOLD = hold_table("beef-6.5-log")

TABLE = {130: 6720, 135: 2160, 140: 720, 145: 240, 146: 169, 150: 67, 155: 22, 157: 14, 158: 0}


def test_the_hold_table_is_reproduced_exactly():
    made = {round((k - 273.15) * 1.8 + 32): s for k, s in HOLD}
    assert made == TABLE
    for row_f, seconds in TABLE.items():
        level = (row_f - 32.0) / 1.8 + 273.15 + 1e-6
        time = np.arange(0.0, seconds + 2.0, 1.0)
        core = np.where(time <= seconds, level, 290.0)
        met = hold_verdict(time, core_k=core, table=HOLD, of="core")
        assert met.held
        assert met.wanted_s == seconds
        if seconds > 1:
            core = np.where(time <= seconds - 1, level, 290.0)
            assert not hold_verdict(time, core_k=core, table=HOLD, of="core").held


def test_the_z_value_of_the_table():
    """6720 s at 130 F against 67 s at 150 F: a factor of 100 in 20 F, z = 10 F."""
    assert pytest.approx(20.0 / 1.8 / np.log10(6720 / 67), rel=0.01) == Z_K
    for row_f, seconds in TABLE.items():
        if seconds >= 60:
            core = np.full(2, (row_f - 32.0) / 1.8 + 273.15 + 1e-3)
            decades = log_reduction(np.array([0.0, seconds]), core_k=core)
            assert decades == pytest.approx(6.5, rel=0.17), row_f


def test_a_surface_reading_is_no_core():
    time = np.arange(10.0)
    with pytest.raises(InputError, match="surface"):
        hold_verdict(time, core_k=np.full(10, 350.0), table=HOLD, of="surface")
    short = hold_verdict(time, core_k=np.full(10, 335.0), table=HOLD, of="core")
    assert not short.held
    assert short.wanted_s > 9
    broken = hold_verdict(time, core_k=np.where(time == 5, np.nan, 345.0), table=HOLD, of="core")
    assert broken.held_s <= 4.0
