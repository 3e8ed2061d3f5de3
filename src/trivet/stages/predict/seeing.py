"""Everything that a design can see, put together."""

from __future__ import annotations

from trivet.records.design import Design
from trivet.records.seeing import Seeing, Tolerance
from trivet.stages.predict.posesearch import search_pose
from trivet.stages.predict.readings import stream
from trivet.stages.predict.shadows import seams, shadows, union_sights
from trivet.stages.predict.spots import fill_sights, footprint_maps, pan_sights
from trivet.stages.predict.tolerance import mount_tolerance
from trivet.stages.predict.views import Seen, unseen_burners
from trivet.units import celsius

HIDING_FRAC = 0.10
LIKELY_FRAC = 0.95


def seeing_of(design: Design, *, seen: Seen) -> Seeing:
    """Return footprints, spots, shadows, seams, tolerance and poses of a design.

    Parameters
    ----------
    design : Design
        What is built.
    seen : Seen
        Its heads and views.

    Returns
    -------
    Seeing
        The same design gives the same bytes.

    Raises
    ------
    OutOfRangeError
        If a lens, mount or pan is impossible.
    InputError
        If the pose search names what does not exist.
    """
    hidden, crowded = shadows(design, eyes=seen.eyes)
    unions = union_sights(design, eyes=seen.eyes, views=seen.views)
    around = design.surroundings
    cold, hot, pan = (
        f"{celsius(float(one)):.0f} °C"
        for one in (around.beside_cold_k, around.beside_hot_k, around.beside_pan_k)
    )
    return Seeing(
        maps=footprint_maps(seen.eyes),
        pans=pan_sights(design, seen=seen, crowded=crowded),
        fills=fill_sights(design, eyes=seen.eyes),
        shadows=hidden,
        unions=unions,
        seams=seams(seen.eyes, unions=unions),
        unseen=unseen_burners(design, views=seen.views),
        lidded=tuple(one.name for one in design.pans if one.lid),
        tolerance=mount_tolerance(
            design, eyes=seen.eyes, stream=lambda name: stream(design, name=name)
        ),
        search=search_pose(design, eyes=seen.eyes),
        beside=f"cold {cold}, hot {hot} all round, pan at {pan}",
    )


def sight_cautions(seeing: Seeing) -> tuple[str, ...]:
    """Return what a reader must be told of what is seen, and what is not."""
    lines = [
        f"Pan {name} is used with a lid: under it nothing of the contents is seen, and a reading"
        " is of the lid."
        for name in seeing.lidded
    ]
    lines += [
        f"The seam between heads {one.head} and {one.other} cuts pans on burner"
        f" {', '.join(one.burners_cut)}: neither head sees them whole."
        for one in seeing.seams
        if one.burners_cut
    ]
    blocked: dict[tuple[str, str], list[str]] = {}
    for one in seeing.shadows:
        if one.hidden_frac >= HIDING_FRAC:
            text = f"{one.by_pan} on {one.by_burner}"
            blocked.setdefault((one.head, one.burner), []).append(text)
    lines += [
        f"Burner {burner}: {', '.join(dict.fromkeys(by))} can hide {HIDING_FRAC:.0%} or more of a"
        f" pan's base from head {head}."
        for (head, burner), by in blocked.items()
    ]
    steep = {(one.burner, one.head) for one in seeing.fills if "degrees" in one.remark}
    by_head: dict[str, list[str]] = {}
    for burner, head in sorted(steep):
        by_head.setdefault(head, []).append(burner)
    lines += [
        f"Head {head} sees contents on {', '.join(burners)} at more than 50 degrees somewhere;"
        " liquids radiate less beyond 50 to 55."
        for head, burners in by_head.items()
    ]
    return tuple(lines + _mount_caution(seeing.tolerance))


def _mount_caution(tolerance: Tolerance | None) -> list[str]:
    if tolerance is None or tolerance.low_frac >= LIKELY_FRAC:
        return []
    return [
        f"As mounted, every pan is covered with a probability of {tolerance.low_frac:.2%} to"
        f" {tolerance.high_frac:.2%} ({tolerance.ok_draws} of {tolerance.draws} draws); most often"
        f" lost: {tolerance.worst_pan} on {tolerance.worst_burner}."
    ]
