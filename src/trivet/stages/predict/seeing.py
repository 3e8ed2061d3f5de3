"""Everything that a design can see, put together."""

from __future__ import annotations

from trivet.records.design import Design
from trivet.records.seeing import Seeing
from trivet.stages.predict.posesearch import search_pose
from trivet.stages.predict.readings import stream
from trivet.stages.predict.shadows import seams, shadows, union_sights
from trivet.stages.predict.spots import fill_sights, footprint_maps, pan_sights
from trivet.stages.predict.tolerance import mount_tolerance
from trivet.stages.predict.views import Seen, unseen_burners
from trivet.units import celsius


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
