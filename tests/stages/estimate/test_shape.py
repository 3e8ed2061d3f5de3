"""A pan's place and unevenness on painted discs whose profile is a formula."""

from __future__ import annotations

import copy

import numpy as np
import pytest

from trivet.quality import Quality
from trivet.records.design import Design
from trivet.stages.estimate import estimate

RADIUS = 0.12
RINGS, SECTORS = 5, 8


@pytest.fixture
def painter(painting, design_tables):
    """A griddle without a wall on a burner whose pan lies wholly in the frame."""
    tables = copy.deepcopy(design_tables)
    tables["pans"][0]["depth"] = "2 mm"
    for burner in tables["burners"]:
        burner["y"] = burner["y"].replace("130", "90")
    return painting.Painter(Design.model_validate(tables))


@pytest.fixture
def disc(painting):
    return lambda emissivity, profile, **rest: painting.Disc(
        -0.20, -0.09, RADIUS, emissivity, profile, **rest
    )


def read(painter, discs, nominal, *, seconds=25.0):
    painter.told = {"pan": "iron-24", "base_contents": "dry"}
    painter.noise_k = 0.05
    inputs = painter.inputs(discs, seconds=seconds)
    found = estimate(inputs, design=painter.design, calibration=nominal)
    return next(one for one in found.burners if one.burner == "front-left")


def test_radial_profile_of_a_paraboloid(painter, nominal, disc) -> None:
    """T = 500 - 60 (r/R)^2: area spreads it evenly, so P95 - P5 is 0.9 of 60 K."""
    one = read(
        painter,
        [disc(0.93, lambda x, y, t: 500.0 - 60.0 * (x**2 + y**2) / RADIUS**2)],
        nominal,
    )
    rings = np.arange(RINGS)
    so = 500.0 - 60.0 * (rings**2 + (rings + 1) ** 2) / (2.0 * RINGS**2)
    shape = one.shape
    assert np.abs(shape.ring_k[-1] - so).max() < 4.0
    assert np.abs(one.nonuniformity_k[-1] - 54.0) < 6.0
    assert np.abs(one.nonuniformity_k[-1] - 54.0) < 2.0 * shape.nonuniformity_u_k[-1]
    assert np.abs(shape.sector_delta_k[-1]).max() < 4.0
    assert np.hypot(shape.x_m[-1], shape.y_m[-1]) < 0.008
    assert abs(shape.diameter_m[-1] / (2 * RADIUS) - 1.0) < 0.08


def test_an_even_pan_is_even(painter, nominal, disc) -> None:
    one = read(painter, [disc(0.93, lambda x, y, t: np.full(x.shape, 470.0))], nominal)
    assert one.nonuniformity_k[-1] < 4.0
    assert np.nanmax(np.abs(one.shape.sector_delta_k[-1])) < 1.0
    # what is hottest of an even pan is noise all over it: its place is nowhere
    assert one.shape.hot_u_m[-1] > 0.03


@pytest.mark.parametrize("turn", [0.0, 2.0])
def test_azimuthal_profile_of_a_tilt(painter, nominal, disc, turn) -> None:
    """T = 470 + 30 (x cos a + y sin a)/R; the mean of an eighth's cosine is 8/pi sin(pi/8) cos."""

    def tilt(x, y, t):
        return 470.0 + 30.0 * (x * np.cos(turn) + y * np.sin(turn)) / RADIUS

    found = read(painter, [disc(0.93, tilt)], nominal).shape.sector_delta_k[-1]
    middle = (np.arange(SECTORS) + 0.5) * 2 * np.pi / SECTORS
    wave = 8 / np.pi * np.sin(np.pi / 8) * np.cos(middle - turn)
    height = float(found @ wave / (wave @ wave))
    assert np.abs(found - height * wave).max() < 3.0
    # pixels from half of the radius to the trimmed rim, 0.50 to 0.71: their mean radius is 0.61
    assert 30.0 * 0.55 < height < 30.0 * 0.78


@pytest.mark.parametrize("place", [(0.045, -0.02), (-0.03, 0.05), (0.0, 0.0)])
def test_a_hot_spot_is_found_where_it_is(painter, nominal, disc, place) -> None:
    def bump(x, y, t):
        away2 = (x - place[0]) ** 2 + (y - place[1]) ** 2
        return 430.0 + 0.5 * t + 45.0 * np.exp(-away2 / (2 * 0.03**2))

    shape = read(painter, [disc(0.93, bump)], nominal).shape
    off = np.hypot(shape.hot_x_m[-1] - place[0], shape.hot_y_m[-1] - place[1])
    assert off < 0.012
    assert off < 2.45 * shape.hot_u_m[-1]
    assert abs(shape.hot_kps[-1] - 0.5) < 0.05
    assert abs(shape.hot_kps[-1] - 0.5) < 3.0 * shape.hot_u_kps[-1]


def test_unevenness_is_withheld_where_food_hides_over_40_percent(painter, nominal, disc) -> None:
    pan = disc(0.93, lambda x, y, t: np.full(x.shape, 470.0), cover=(15.0, 0.095, lambda t: 290.0))
    one = read(painter, [pan], nominal)
    before, after = one.flags.size // 2, -1
    assert np.isfinite(one.nonuniformity_k[before])
    for series in (one.nonuniformity_k, one.shape.hot_x_m, one.shape.hot_kps):
        assert np.isnan(series[after])
    assert np.isnan(one.shape.ring_k[after]).all()


@pytest.mark.parametrize("radius_m", [0.06, 0.08, 0.10])
def test_an_even_disc_of_5_pixels_and_more_is_read_within_2_kelvin(
    painting, design_tables, nominal, radius_m
) -> None:
    """Blur by scipy's convolution, pixels by brute force: what the size of the source costs."""
    tables = copy.deepcopy(design_tables)
    tables["pans"][0]["diameter"] = f"{2000 * radius_m:.0f} mm"
    tables["estimation"] = {"min_pixels": 1}
    painter = painting.Painter(Design.model_validate(tables))
    painter.told = {"pan": "iron-24", "base_contents": "dry"}
    painter.noise_k = 0.0
    pan = painting.Disc(-0.2, -0.13, radius_m, 0.93, lambda x, y, t: np.full(x.shape, 450.0))
    found = estimate(
        painter.inputs([pan], seconds=10.0), design=painter.design, calibration=nominal
    )
    one = next(one for one in found.burners if one.burner == "front-left")
    assert abs(one.apparent_k[-1] - painter.seen_k(0.93, np.array(450.0))) < 2.0
    assert not one.flags[-1] & int(Quality.COLD)


@pytest.mark.parametrize("y_m", [-0.13, -0.15])
def test_a_pan_whose_rim_the_frame_cuts_is_completed(painting, design_tables, nominal, y_m) -> None:
    """The frame ends at y = -0.221 m: it cuts off 29 and 49 mm of the pan."""
    tables = copy.deepcopy(design_tables)
    tables["pans"][0]["depth"] = "2 mm"
    tables["burners"][0]["y"] = f"{1000 * y_m:.0f} mm"
    painter = painting.Painter(Design.model_validate(tables))
    pan = painting.Disc(-0.20, y_m, RADIUS, 0.93, lambda x, y, t: np.full(x.shape, 450.0))
    one = read(painter, [pan], nominal)
    assert one.flags[-1] & int(Quality.EDGE)
    assert np.hypot(one.shape.x_m[-1], one.shape.y_m[-1]) < 0.008


def test_a_pan_off_its_burner_is_followed(painter, painting, nominal) -> None:
    pan = painting.Disc(-0.17, -0.07, RADIUS, 0.93, lambda x, y, t: np.full(x.shape, 450.0))
    shape = read(painter, [pan], nominal).shape
    assert np.hypot(shape.x_m[-1] - 0.03, shape.y_m[-1] - 0.02) < 0.008
