"""What a user can tell the firmware, what is seen then, and which settings each alert has."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import astuple, dataclass

import numpy as np

from trivet.arrays import IntArray
from trivet.device.alertwords import NO_RULE, ToldRules, ToldWords, settings_array
from trivet.errors import HandoffRefusedError
from trivet.facts.contents import MAX_USES
from trivet.facts.contents import oil as library_oil
from trivet.facts.tables import known_name
from trivet.facts.thresholds import threshold
from trivet.models.alert_settings import acts_on, alert_settings
from trivet.models.contents import fits, seen_of
from trivet.models.emissivity_prior import emissivity_prior_range
from trivet.physics.radiation.planck import Band
from trivet.records.benchsheet import ToldEntry
from trivet.records.calibration import Calibration
from trivet.records.design import CONTENTS, Contents, Design
from trivet.records.requirement import DEVICE_KINDS, OF_WORDS, Alert

MIN_SHARE = threshold("device_min_emissivity_frac")


@dataclass(frozen=True)
class ToldSurface:
    """What may be told of one burner; None: not told."""

    pan: str | None
    contents: Contents | None

    @property
    def name(self) -> str:
        """Its name in the firmware's list."""
        return f"{self.contents or 'any contents'} in {self.pan or 'any pan'}"


@dataclass(frozen=True)
class SurfaceRange:
    """What is seen under one word of the cook, on one burner."""

    low: float
    high: float
    of: int
    """Index in OF_WORDS."""
    alike: bool
    """Whether all that it can be is of the same thing."""
    liquid: bool
    known: bool
    """Whether anything of the design fits it."""


def told_surfaces(design: Design) -> tuple[ToldSurface, ...]:
    """Return all that can be told, nothing told first."""
    used = {base.contents for base in design.bases}
    contents: list[Contents | None] = [None, *(one for one in CONTENTS if one in used)]
    pans: list[str | None] = [None, *(pan.name for pan in design.pans)]
    return tuple(ToldSurface(pan, one) for pan in pans for one in contents)


def told_place(told: ToldEntry, *, surfaces: tuple[ToldSurface, ...]) -> int:
    """Return the place of what a cook told; a pan or contents not in the design count as untold."""
    pans = {one.pan for one in surfaces}
    contents = {one.contents for one in surfaces}
    wanted = ToldSurface(
        told.pan if told.pan in pans else None,
        told.base_contents if told.base_contents in contents else None,
    )
    return surfaces.index(wanted)


def surface_range(
    told: ToldSurface, *, design: Design, calibration: Calibration, band: Band, angle_rad: float
) -> SurfaceRange:
    """Return the emissivities from the lowest to the highest of all that the word leaves open.

    Fitted surfaces count with twice their standard uncertainty within their physical
    range; the others, and bare pans, with their range in the library. No weights: the
    firmware does not reason about which of them is there.
    """
    every = [
        (pan, base)
        for pan in design.pans
        for base in design.bases
        if told.pan in (None, pan.name)
        and told.contents in (None, base.contents)
        and fits(base, pan=pan)
    ]
    if not every:
        return SurfaceRange(1.0, 1.0, 0, alike=False, liquid=False, known=False)
    ends = [
        emissivity_prior_range(pan, base, calibration=calibration, band=band, angle_rad=angle_rad)
        for pan, base in every
    ]
    of = ["oil" if b.contents == "oil" else seen_of(b, pan=p) for p, b in every]
    return SurfaceRange(
        low=max(min(low for low, _ in ends), MIN_SHARE),
        high=min(max(high for _, high in ends), 1.0),
        of=OF_WORDS.index(of[0]),
        alike=len(set(of)) == 1,
        liquid=all(base.contents == "water" for _, base in every),
        known=True,
    )


def told_rules(design: Design) -> ToldRules:
    """Return the settings of a design's alerts for everything that can be told.

    Parameters
    ----------
    design : Design
        Alerts, bands, limits, pans, told channels.

    Returns
    -------
    ToldRules
        Each distinct row of settings once, and which of them holds when.

    Raises
    ------
    HandoffRefusedError
        If there are more distinct settings or names than a byte counts.

    Notes
    -----
    A told oil changes nothing but the limit: it is a table of its own.
    """
    words = _words(design)
    pool: dict[tuple[int, ...], int] = {}
    bands: list[str | None] = [None, *words.bands[1:]]
    rule_of = np.full((len(words.contents), len(bands), len(design.alerts)), NO_RULE)
    for c, contents in enumerate([None, *CONTENTS]):
        for b, band in enumerate(bands):
            told = ToldEntry(base_contents=contents, target_band=band)
            for k, one in enumerate(design.alerts):
                if acts_on(one, design=design, told=told):
                    rule_of[c, b, k] = _place(pool, one, design, told)
    device = [
        _place(pool, one, design, ToldEntry()) if one.kind in DEVICE_KINDS else NO_RULE
        for one in design.alerts
    ]
    surfaces = told_surfaces(design)
    place_of = [
        [
            told_place(ToldEntry(pan=pan, base_contents=contents), surfaces=surfaces)
            for contents in (None, *CONTENTS)
        ]
        for pan in (None, *words.pans[1:])
    ]
    oil_row, oil_dk = _oil_points(design, words)
    sizes = (len(pool), *(len(names) for names in astuple(words)), len(surfaces))
    if max(sizes) >= NO_RULE:
        raise HandoffRefusedError(f"more settings or told names than a byte counts: {max(sizes)}")
    own = {one.name: OF_WORDS.index(one.of) for one in design.bands}
    return ToldRules(
        words=words,
        rules=np.array(list(pool), dtype=np.int64),
        rule_of=rule_of.astype(np.int64),
        device_rule=np.array(device, dtype=np.int64),
        place_of=np.array(place_of, dtype=np.int64),
        band_of=np.array([NO_RULE, *(own[name] for name in words.bands[1:])], dtype=np.int64),
        oil_row=oil_row,
        oil_dk=oil_dk,
    )


def rule_words(design: Design, *, rules: ToldRules) -> Iterator[int]:
    """Yield the settings of all that can be told, straight from the design, as the checker asks."""
    words = rules.words
    for c, contents in enumerate((None, *CONTENTS)):
        yield from rules.place_of[:, c].tolist()
        for band in (None, *words.bands[1:]):
            yield from _row_words(design, ToldEntry(base_contents=contents, target_band=band))
    for oil in words.oils[1:]:
        for uses in (None, *range(MAX_USES + 2)):
            told = ToldEntry(base_contents="oil", oil=oil, uses=uses)
            yield from _row_words(design, told)
    for one in design.alerts:
        acts = one.kind in DEVICE_KINDS
        yield int(acts)
        if acts:
            yield from settings_array((alert_settings(one, design=design),))[0].tolist()


def _row_words(design: Design, told: ToldEntry) -> Iterator[int]:
    for one in design.alerts:
        acts = acts_on(one, design=design, told=told)
        yield int(acts)
        if acts:
            row = settings_array((alert_settings(one, design=design, told=told),))[0]
            yield from row.tolist()


def told_numbers(told: ToldEntry, *, words: ToldWords) -> tuple[int, int, int, int, int]:
    """Return what was told of a burner as the firmware's numbers; what it has no name for, 0."""
    oil = "" if told.oil is None else known_name(told.oil, names=library_oil.all, what="oil")
    places = (
        _index(words.pans, told.pan),
        _index(words.contents, told.base_contents),
        _index(words.bands, told.target_band),
        _index(words.oils, oil),
    )
    return (*places, 0 if told.uses is None else min(told.uses, MAX_USES) + 1)


def _index(names: tuple[str, ...], name: str | None) -> int:
    return names.index(name) if name and name in names else 0


def _words(design: Design) -> ToldWords:
    channels = design.told.channels
    bands = [one.name for one in design.bands] if "target_band" in channels else []
    known = list(library_oil.all) if "oil" in channels else []
    return ToldWords(
        pans=("", *(pan.name for pan in design.pans)),
        contents=("", *CONTENTS),
        bands=("", *bands),
        oils=("", *known),
    )


def _place(pool: dict[tuple[int, ...], int], one: Alert, design: Design, told: ToldEntry) -> int:
    row = settings_array((alert_settings(one, design=design, told=told),))[0]
    return pool.setdefault(tuple(row.tolist()), len(pool))


def _oil_points(design: Design, words: ToldWords) -> tuple[IntArray, IntArray]:
    """Return which row of oil points each alert's limit has, and the rows."""
    rows: dict[str, int] = {}
    oil_row, points = [], []
    for one in design.alerts:
        if not _by_oil(one, design) or len(words.oils) < 2:
            oil_row.append(NO_RULE)
            continue
        name = str(one.limit)
        if name not in rows:
            rows[name] = len(rows)
            points.append(
                [[0] * (MAX_USES + 1)]
                + [
                    [_set_dk(one, design, oil, uses) for uses in range(MAX_USES + 1)]
                    for oil in words.oils[1:]
                ]
            )
        oil_row.append(rows[name])
    if not points:
        points = [[[0] * (MAX_USES + 1)] * len(words.oils)]
    return np.array(oil_row, dtype=np.int64), np.array(points, dtype=np.int64)


def _by_oil(one: Alert, design: Design) -> bool:
    if one.kind not in ("level", "time_to_limit") or one.limit is None:
        return False
    fixed = one.kind == "level" and one.set_point_k is not None
    return design.limit(one.limit).oil_point is not None and not fixed


def _set_dk(one: Alert, design: Design, oil: str, uses: int) -> int:
    return alert_settings(one, design=design, told=ToldEntry(oil=oil, uses=uses)).set_dk
