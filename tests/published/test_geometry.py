"""Camera geometry against published relations and calculations made elsewhere."""

from __future__ import annotations

import math

import numpy as np

from trivet.physics.geometry.coverage import field_outline_m, pixels_across, spot_factor
from trivet.physics.geometry.occlusion import visible_base, visible_base_frac
from trivet.physics.geometry.optics import Lens, Pose, footprint_m, lens_from_fov


def _lens(row):
    return lens_from_fov(
        int(row["rows"]),
        cols=int(row["cols"]),
        fov_h_rad=math.radians(row["fov_h_deg"]),
        fov_v_rad=math.radians(row["fov_v_deg"]),
        model=row["model"],
    )


def _centre_footprint(row):
    lens = _lens(row)
    centre = ((lens.rows - 1) / 2, (lens.cols - 1) / 2)
    return footprint_m(lens, Pose(0, 0, row["height_m"]), rowcol=centre)


def _hidden_strip(row):
    """Edge of the hidden base beside the near wall, by bisection on the ray test."""
    radius, near = 0.15, row["aside_m"]
    eye = (near + radius, 0.0, row["height_m"])
    low, high = 0.0, 0.2
    for _ in range(60):
        s = (low + high) / 2
        point = (radius - s, 0.0)
        seen = visible_base(
            point, centre_m=(0, 0), radius_m=radius, depth_m=row["depth_m"], eye_m=eye
        )
        low, high = (low, s) if seen else (s, high)
    return low


def _slope_ratio(row):
    lens, tilt = _lens(row), math.radians(45)
    centre = ((lens.rows - 1) / 2, (lens.cols - 1) / 2)
    nadir = footprint_m(lens, Pose(0, 0, row["height_m"]), rowcol=centre)[0]
    # the same slant distance, so that only the cosine acts
    drop = row["height_m"] * math.cos(tilt)
    return (
        footprint_m(lens, Pose(0, 0, drop, tilt_rad=tilt), rowcol=centre)[0] / nadir * math.sqrt(2)
    )


COMPUTE = {
    "width": lambda row: np.ptp(field_outline_m(_lens(row), Pose(0, 0, row["height_m"]))[:, 0]),
    "depth": lambda row: np.ptp(field_outline_m(_lens(row), Pose(0, 0, row["height_m"]))[:, 1]),
    "centre_pixel": lambda row: _centre_footprint(row)[1],
    "centre_row": lambda row: _centre_footprint(row)[0],
    "across": lambda row: pixels_across(
        (0, 0),
        diameter_m=row["diameter_m"],
        height_m=0.0,
        lens=_lens(row),
        pose=Pose(0, 0, row["height_m"]),
    ),
    "visible": lambda row: visible_base_frac(
        (row["aside_m"], 0, row["height_m"]),
        centre_m=(0, 0),
        radius_m=row["diameter_m"] / 2,
        depth_m=row["depth_m"],
    ),
    "hidden_strip": _hidden_strip,
    "slope_ratio": _slope_ratio,
    "fov_of_pitch": lambda row: math.degrees(
        2 * math.atan(_pitch_lens(row).cols / 2 / _pitch_lens(row).focal_col_px)
    ),
    "spot_pixels": lambda row: np.mean([spot_factor(s) for s in (0.3, 0.4, 0.5)]),
}


def _pitch_lens(row):
    focal = 7.5e-3 / 34e-6
    return Lens("rectilinear", int(row["rows"]), int(row["cols"]), focal, focal)


def test_geometry_rows(published):
    rows = published("geometry")
    for row in rows:
        got = float(COMPUTE[row["kind"]](row))
        assert abs(got - row["expected"]) <= row["tolerance"], f"{row['id']}: {got}"
    assert len(rows) >= 30


def test_whole_top_needs_the_stated_fields():
    """A 760 x 560 mm top: own calculation elsewhere, to the printed degree."""
    for height, across, deep in ((0.35, 95, 77), (0.61, 64, 49), (0.76, 53, 40)):
        for need, size in ((across, 0.760), (deep, 0.560)):
            lens = lens_from_fov(
                24, cols=32, fov_h_rad=math.radians(need), fov_v_rad=math.radians(need)
            )
            seen = np.ptp(field_outline_m(lens, Pose(0, 0, height))[:, 0])
            degree = 0.51 * math.radians(1) * 2 * height / 2 / math.cos(math.radians(need / 2)) ** 2
            assert abs(seen - size) <= degree
