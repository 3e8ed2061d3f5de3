"""Parting warm from cold pixels, and what a covered pan is called."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.image.labelling import (
    FOOD,
    HAND,
    HOB,
    LID,
    LIQUID,
    PAN,
    STEAM,
    WALL,
    RimView,
    region_labels,
    split_level,
)
from trivet.physics.image.panreading import no_covers, sector_of

PITCH = 0.02


def test_no_pixel_of_the_lower_class_is_handed_to_the_upper() -> None:
    """40 pixels of pan, 25 of food: the warmest food pixel stays food."""
    generator = np.random.default_rng(5)
    for _ in range(200):
        food = generator.normal(330.0, 6.0, 25)
        pan = generator.normal(450.0, 8.0, 40)
        level = split_level(np.concatenate([food, pan]))
        assert (food <= level).all()
        assert (pan > level).all()


def test_the_level_is_an_edge_of_a_bin() -> None:
    """64 bins of 1 K from 300 to 364: the lower class ends inside the bin from 310 to 311."""
    values = np.array([300.0, 305.0, 310.9, 363.0, 364.0])
    assert split_level(values) == pytest.approx(311.0)


def test_sectors_go_round() -> None:
    for k in range(8):
        for turn in (0.02, 0.4, 0.76):
            angle = k * np.pi / 4 + turn
            assert sector_of(np.cos(angle), np.sin(angle)) == k


def region(pixels=15):
    centre = (np.arange(pixels) + 0.5 - pixels / 2) * PITCH
    x, y = np.meshgrid(centre, -centre)
    return x.ravel(), y.ravel(), PITCH


def labels(frame, covers, *, surface=PAN, veil=None, rim=(0.0, 0.0, 0.11), base=(0.0, 0.0, 0.11)):
    return region_labels(
        frame,
        plane_m=region(),
        seen=RimView(rim, base, 0.002),
        covers=covers,
        surface=surface,
        veil=veil,
    )


def scene(cover_m, cover_k, *, age_s):
    x, y, _ = region()
    away = np.hypot(x, y)
    covers = no_covers(x.size)
    covers.last_s[0] = 100.0
    covered = away <= cover_m
    covers.since_s[covered] = 100.0 - age_s
    frame = np.where(away <= 0.11, 460.0, 305.0)
    return np.where(covered, cover_k, frame), covers, covered, away


@pytest.mark.parametrize(
    ("cover_m", "cover_k", "age_s", "word"),
    [
        (0.06, 306.0, 1.0, HAND),
        (0.06, 306.0, 9.0, FOOD),
        (0.06, 285.0, 1.0, FOOD),
        (0.11, 340.0, 9.0, LID),
    ],
)
def test_what_covers(cover_m, cover_k, age_s, word) -> None:
    frame, covers, covered, away = scene(cover_m, cover_k, age_s=age_s)
    found = labels(frame, covers).label
    inside = covered & (away < 0.10)
    assert (found[inside] == word).all()
    assert (found[away > 0.13] == HOB).all()


def test_outlines_of_rim_and_base_make_the_wall_on_both_sides() -> None:
    x, _, _ = region()
    frame = np.full(x.size, 400.0)
    found = labels(frame, no_covers(x.size), rim=(0.02, 0.0, 0.105), base=(0.0, 0.0, 0.10))
    wall = found.label == WALL
    assert (x[wall] > 0.08).any()
    assert (x[wall] < -0.08).any()
    # both crescents together: the discs' joint area without what they share
    union = found.area_px[PAN] + found.area_px[WALL]
    assert union > np.pi * 0.105**2 / PITCH**2
    assert found.area_u_px[WALL] > 0.0


def test_a_veil_over_a_liquid() -> None:
    frame, _, covered, away = scene(0.05, 320.0, age_s=0.0)
    still = no_covers(frame.size)
    hand = labels(frame, still, surface=LIQUID, veil=HAND).label
    assert (hand[covered] == HAND).all()
    assert (hand[(away > 0.07) & (away < 0.09)] == LIQUID).all()
    steam = labels(np.full(frame.size, 370.0), still, surface=LIQUID, veil=STEAM).label
    assert (steam[away < 0.09] == STEAM).all()
