"""Whether a mount was bumped between recordings: pans that all moved in the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.stats import chi2

from trivet.errors import NotEnoughDataError, OutOfRangeError

FALSE_FRAC = 1e-3
MIN_SHIFT_M = 0.005
MIN_PLACES = 2


@dataclass(frozen=True)
class MountShift:
    """The sharpest break in a series of recordings.

    ``first`` is the first recording after it; ``shift_m`` the rms distance by which the places seen
    both before and after moved on the cooktop; ``moved`` whether that is more than chance and
    placement explain.
    """

    first: int
    shift_m: float
    chance: float
    moved: bool


def mount_shift(
    observed_m: npt.ArrayLike, *, index: npt.ArrayLike, region: npt.ArrayLike, u_m: npt.ArrayLike
) -> MountShift:
    """Return where in a series of recordings a head's view broke, and whether it did.

    observed_m : (target, 2) where a target is seen less where it stood, through one and the same
        pose [m]
    index : (target,) number of its recording, in order of time
    region : (target,) number of the burner it stood on
    u_m : (target,) standard uncertainty of a target in each direction, placement included [m]
    Raises : NotEnoughDataError if no break has two burners seen on both sides of it;
        OutOfRangeError if an uncertainty is not positive
    Notes : Pans put down within 3 mm, four burners, two recordings on either side: a shift of 8 mm
        (0.6 degrees of tilt at 0.75 m) is found in 90 % of draws, one of 10 mm in 99 %, at under 1
        % false; with five on either side one of 6 mm in 95 %. One pan put down askew moves one
        burner and may be called: the message therefore names the shift, and the pans can be looked
        at.
    Source : Chi-squared of the differences of means, Bonferroni over the breaks; own rule
    """
    seen = np.asarray(observed_m, dtype=np.float64)
    at, places = np.asarray(index), np.asarray(region)
    u = np.asarray(u_m, dtype=np.float64)
    if not np.all(u > 0):
        raise OutOfRangeError("mount: every standard uncertainty must be above 0")
    breaks = np.unique(at)[1:]
    best: MountShift | None = None
    for first in breaks:
        squares, moves, variances = [], [], []
        for place in np.unique(places):
            before, after = (places == place) & (at < first), (places == place) & (at >= first)
            if not before.any() or not after.any():
                continue
            move = seen[after].mean(axis=0) - seen[before].mean(axis=0)
            variance = (u[after] ** 2).sum() / after.sum() ** 2
            variance += (u[before] ** 2).sum() / before.sum() ** 2
            squares.append(float(move @ move) / variance)
            moves.append(move)
            variances.append(variance)
        if len(squares) < MIN_PLACES:
            continue
        mean = np.mean(moves, axis=0)
        together = float(mean @ mean) * len(moves) ** 2 / sum(variances)
        # turned: each burner its own way; shifted: all the same way, which is the sharper test
        either = min(chi2.sf(sum(squares), 2 * len(squares)), chi2.sf(together, 2))
        chance = min(2.0 * float(either) * breaks.size, 1.0)
        shift = float(np.sqrt(np.mean(np.sum(np.square(moves), axis=1))))
        moved = chance < FALSE_FRAC and shift > MIN_SHIFT_M
        if best is None or chance < best.chance:
            best = MountShift(int(first), shift, chance, moved)
    if best is None:
        raise NotEnoughDataError(
            "no two recordings show the same two burners: whether the mount moved cannot be told"
        )
    return best
