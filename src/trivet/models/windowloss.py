"""What a window has lost since it was clean, from its calibration."""

from __future__ import annotations

from trivet.records.calibration import Calibration
from trivet.records.design import Design


def window_loss_frac(design: Design, calibration: Calibration) -> float:
    """Return the largest share of a clean window's transmittance that a head has lost.

    Parameters
    ----------
    design : Design
        Transmittance of each head's clean window.
    calibration : Calibration
        Transmittance as last measured; one that was not measured counts as clean.

    Returns
    -------
    float
        0 for a clean window. [-]

    Notes
    -----
    A loss within two standard uncertainties of nothing counts as none. 10 % lost reads
    7 K low at 230 C.

    References
    ----------
    Definition.
    """
    worst = 0.0
    for head in design.heads:
        clean = float(head.window.transmittance_frac)
        known = next((one for one in calibration.heads if one.head == head.name), None)
        if known is None or known.transmittance_how != "fitted":
            continue
        lost = (clean - known.transmittance) / clean
        if lost > 2.0 * known.transmittance_u / clean:
            worst = max(worst, lost)
    return worst
