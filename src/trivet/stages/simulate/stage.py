"""From a planned cook to its recording and, apart from it, its truth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trivet.errors import OutOfRangeError
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.recording import Note, ProductInput, Recording, SimulatedCook, Truth
from trivet.stages.simulate.cooking import cooked
from trivet.stages.simulate.draws import drawn_repeat, mounted
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.occupancy import presence
from trivet.stages.simulate.references import reference, told
from trivet.stages.simulate.sensing import head_frames
from trivet.stages.simulate.truth import burner_truth


def simulate(design: Design, *, plan: CookPlan, repeat: int = 0) -> SimulatedCook:
    """Return one repeat of a planned cook: frames, references, and the truth apart.

    design : sensor heads, hob, pans, bases and surroundings; ranges are drawn from
    plan : what happens on which burner
    repeat : which repeat; each has draws of its own
    Returns : the recording, of evidence ``simulated``, and its truth
    InputError: if the plan names what the design does not have, pans overlap, contents do not fit,
    or the repeat is not one of the plan's.
    OutOfRangeError: if a pan's temperature is no number or none that a pan can have.

    Bytes are the same on every run with one lock file and processor family; each purpose has its
    own random stream, so another head or probe changes no other.  What is assumed (steam, hands,
    film patches, placement, sensor pattern) stands as constants in the modules of this package.
    A pan that is pushed keeps the heat of the place where it stood.
    """
    cook = drawn_repeat(design, plan=plan, repeat=repeat)
    done = cooked(cook)
    require_physical(done.pans, name=cook.name)
    heads = [mounted(head, cook) for head in design.heads]
    frames = tuple(head_frames(done.pans, head) for head in heads)
    answers = presence(
        design.alerting.presence,
        plan=plan,
        until_s=max(float(one.time_s[-1]) for one in frames),
        generator=cook.stream("presence"),
    )
    recording = Recording(
        name=cook.name,
        purpose=plan.purpose,
        evidence="simulated",
        unit=f"simulated {plan.unit}",
        altitude_m=float(design.surroundings.altitude_m),
        inputs=ProductInput(frames, told(cook), answers),
        reference=reference(done.pans, cook),
        notes=_notes(plan),
    )
    burners = tuple(burner_truth(one, heads) for one in done.pans)
    return SimulatedCook(recording, Truth(cook.name, burners, done.stopped))


def _notes(plan: CookPlan) -> tuple[Note, ...]:
    """Return a note on every way in which the cook's physics was set apart from the nominal."""
    return tuple(
        Note(
            f"simulated with {key} = {value}: wrong on purpose",
            f"cook {plan.name!r}, mismatch",
            "compare with the same cook without it; never pool the two",
        )
        for key, value in plan.mismatch.changes().items()
    )


COLDEST_PAN_K, HOTTEST_PAN_K = 200.0, 2000.0
"""Own estimate: below any kitchen, and above the melting of every pan of the tables."""


def require_physical(pans: Sequence[PanHistory], *, name: str) -> None:
    """Refuse a cook with a temperature that is no number or that no pan can have.

    An OutOfRangeError names cook, burner and the first moment.  200 to 2,000 K pass.  An unstable
    step grows without bound and is caught within a few steps of leaving that range.
    """
    for pan in pans:
        low, high = pan.pan_k.min(axis=1), pan.pan_k.max(axis=1)  # NaN spreads through both
        bad = np.flatnonzero(~((low > COLDEST_PAN_K) & (high < HOTTEST_PAN_K)))
        if bad.size:
            at = int(bad[0])
            raise OutOfRangeError(
                f"cook {name!r}: at {pan.time_s[at]:.1f} s the pan on "
                f"{pan.setting.burner.name!r} is at {low[at]:.4g} to {high[at]:.4g} K: the step "
                "is unstable, or power, pan or contents are beyond what the model can do"
            )
