"""From a planned cook to its recording and, apart from it, its truth."""

from __future__ import annotations

from trivet.errors import InputError
from trivet.models.optics import card_band, card_lens
from trivet.records.cook import CookPlan, cook_name
from trivet.records.design import Design, Head
from trivet.records.recording import Note, ProductInput, Recording, SimulatedCook, Truth
from trivet.stages.simulate.cooking import Cooked, cooked
from trivet.stages.simulate.draws import HeadUnit, Kitchen, head_unit, kitchen, mismatched, stream
from trivet.stages.simulate.mismatches import contact_scaled
from trivet.stages.simulate.presence import presence
from trivet.stages.simulate.references import reference, told
from trivet.stages.simulate.sensing import head_frames
from trivet.stages.simulate.setting import settings
from trivet.stages.simulate.soundness import require_physical
from trivet.stages.simulate.truth import burner_truth


def simulate(design: Design, *, plan: CookPlan, repeat: int = 0) -> SimulatedCook:
    """Return one repeat of a planned cook: frames, references, and the truth apart.

    Parameters
    ----------
    design : Design
        Sensor heads, hob, pans, bases and surroundings; ranges are drawn from.
    plan : CookPlan
        What happens on which burner.
    repeat : int
        Which repeat; each has draws of its own.

    Returns
    -------
    SimulatedCook
        The recording, of evidence ``simulated``, and its truth.

    Raises
    ------
    InputError
        If the plan names what the design does not have, pans overlap, contents do
        not fit, or the repeat is not one of the plan's.
    OutOfRangeError
        If a pan's temperature is no number or none that a pan can have.

    Notes
    -----
    Bytes are the same on every run with one lock file and processor family; each
    purpose has its own random stream, so another head or probe changes no other.
    What is assumed (steam, hands, film patches, placement, sensor pattern) stands
    as constants in the modules of this package.  A pan that is pushed keeps the heat
    of the place where it stood.

    References
    ----------
    The kernels that it calls.
    """
    seed, name = design.project.seed, cook_name(plan, repeat)
    room, cook = cooked_repeat(design, plan=plan, repeat=repeat)
    require_physical(cook.pans, name=name)
    heads, eyes = [], []
    for head in design.heads:
        card, unit = design.card(head), mounted(head, design=design, plan=plan)
        eyes.append((card_lens(card), unit.pose, card_band(card)))
        heads.append(
            head_frames(
                cook.pans,
                design=design,
                plan=plan,
                name=name,
                head=head,
                unit=unit,
                room=room,
            )
        )
    answers = presence(
        design.alerting.presence,
        plan=plan,
        until_s=max(float(one.time_s[-1]) for one in heads),
        generator=stream(seed, cook=name, name="presence"),
    )
    recording = Recording(
        name=name,
        purpose=plan.purpose,
        evidence="simulated",
        unit=f"simulated {plan.unit}",
        altitude_m=float(design.surroundings.altitude_m),
        inputs=ProductInput(tuple(heads), told(design, plan=plan), answers),
        reference=reference(cook.pans, design=design, plan=plan, name=name, room=room),
        notes=_notes(plan),
    )
    burners = tuple(burner_truth(one, eyes=eyes, mismatch=plan.mismatch) for one in cook.pans)
    return SimulatedCook(recording, Truth(name, burners, cook.stopped))


def cooked_repeat(design: Design, *, plan: CookPlan, repeat: int) -> tuple[Kitchen, Cooked]:
    """Return the kitchen of one repeat, and what its pans did."""
    if not 0 <= repeat < plan.repeats:
        raise InputError(f"cook {plan.name!r} has repeats 0 to {plan.repeats - 1}, not {repeat}")
    name = cook_name(plan, repeat)
    draws = stream(design.project.seed, cook=name, name="kitchen")
    room = kitchen(design, plan=plan, generator=draws)
    standing = settings(design, plan=plan, name=name, room=room)
    return room, cooked(contact_scaled(standing, plan.mismatch), plan=plan, room=room)


def mounted(head: Head, *, design: Design, plan: CookPlan) -> HeadUnit:
    """Return a head as it was made and hung, set apart from it where the plan says so."""
    draws = stream(design.project.seed, cook=f"unit {plan.unit}", name=f"unit {head.name}")
    unit = head_unit(head, card=design.card(head), plan=plan, generator=draws)
    return mismatched(unit, plan.mismatch)


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
