"""From a planned cook to its recording and, apart from it, its truth."""

from __future__ import annotations

from trivet.errors import InputError
from trivet.records.cook import CookPlan, cook_name
from trivet.records.design import Design
from trivet.records.recording import Recording, Sight, SimulatedCook, Truth
from trivet.stages.simulate.cooking import cooked
from trivet.stages.simulate.draws import head_unit, kitchen, stream
from trivet.stages.simulate.references import reference, told
from trivet.stages.simulate.sensing import head_frames
from trivet.stages.simulate.setting import settings
from trivet.stages.simulate.truth import burner_truth
from trivet.terms.optics import card_band, card_lens


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

    Notes
    -----
    Bytes are the same on every run with one lock file and processor family; each
    purpose has its own random stream, so another head or probe changes no other.
    What is assumed (steam, hands, film patches, placement, sensor pattern) stands
    as constants in the modules of this package.  Not modelled: lids, butter's
    water, oil that dries out or smokes, flames that a head sees beside a pan.

    References
    ----------
    The kernels that it calls.
    """
    if not 0 <= repeat < plan.repeats:
        raise InputError(f"cook {plan.name!r} has repeats 0 to {plan.repeats - 1}, not {repeat}")
    seed, name = design.project.seed, cook_name(plan, repeat)
    room = kitchen(design, plan=plan, generator=stream(seed, cook=name, name="kitchen"))
    cook = cooked(settings(design, plan=plan, name=name, room=room), plan=plan, room=room)
    heads, eyes = [], []
    for head in design.heads:
        card = design.card(head)
        generator = stream(seed, cook=f"unit {plan.unit}", name=f"unit {head.name}")
        unit = head_unit(head, card=card, plan=plan, generator=generator)
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
    recording = Recording(
        name=name,
        purpose=plan.purpose,
        evidence="simulated",
        unit=f"simulated {plan.unit}",
        altitude_m=float(design.surroundings.altitude_m),
        sight=Sight(tuple(heads), told(design, plan=plan)),
        reference=reference(cook.pans, design=design, plan=plan, name=name, room=room),
    )
    burners = tuple(burner_truth(one, eyes=eyes) for one in cook.pans)
    return SimulatedCook(recording, Truth(name, burners, cook.stopped))
