"""Stops a cook whose physics left what can be, before anything is made of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trivet.errors import OutOfRangeError
from trivet.stages.simulate.history import PanHistory

COLDEST_K, HOTTEST_K = 200.0, 2000.0
"""Assumed, no source: below any kitchen, and above the melting of every pan of the tables."""


def require_physical(pans: Sequence[PanHistory], *, name: str) -> None:
    """Refuse a cook with a temperature that is no number or that no pan can have.

    Parameters
    ----------
    pans : sequence of PanHistory
        What the pans did.
    name : str
        Of the cook.

    Raises
    ------
    OutOfRangeError
        With cook, burner and the first moment at which it happened.

    Notes
    -----
    200 to 2,000 K pass.  An unstable step grows without bound and is caught
    within a few steps of leaving that range.

    References
    ----------
    House rule: a cook that cannot be is named and stopped, never read.
    """
    for pan in pans:
        low, high = pan.pan_k.min(axis=1), pan.pan_k.max(axis=1)  # NaN spreads through both
        bad = np.flatnonzero(~((low > COLDEST_K) & (high < HOTTEST_K)))
        if bad.size:
            at = int(bad[0])
            raise OutOfRangeError(
                f"cook {name!r}: at {pan.time_s[at]:.1f} s the pan on "
                f"{pan.setting.burner.name!r} is at {low[at]:.4g} to {high[at]:.4g} K: the step "
                "is unstable, or power, pan or contents are beyond what the model can do"
            )
