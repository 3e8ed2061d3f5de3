"""The emissivity prior: a fit within what physics lets the surface have."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from trivet.models.calibration_views import fitted_surface
from trivet.models.emissivity_prior import (
    emissivity_prior_nodes,
    emissivity_prior_range,
    fitted_emissivity,
    physical_range,
)
from trivet.physics.radiation.planck import flat_band
from trivet.records.calibration import Calibration, SurfaceCalibration
from trivet.records.design import Base, Pan
from trivet.records.figures import Figure

BAND = flat_band(8e-6, 14e-6)
IRON = Pan.model_validate(
    {"name": "iron", "material": "cast-iron", "finish": "seasoned-cast-iron",
     "diameter": "240 mm", "depth": "45 mm", "thickness": "4 mm"}
)  # fmt: skip
DRY = Base.model_validate({"name": "dry", "contents": "dry"})
THIN = Base.model_validate({"name": "thin", "contents": "oil", "volume": "5 mL"})
DEEP = Base.model_validate({"name": "deep", "contents": "oil", "volume": "200 mL"})
WATER = Base.model_validate({"name": "water", "contents": "water", "volume": "0.6 L"})
NAN = math.nan
FIT = SurfaceCalibration(
    "oil", "seasoned-cast-iron", "fitted", 0.82, 0.05, NAN, NAN, 340.0, 480.0, 12, 1.0, "pairs",
    film=True,
)  # fmt: skip


def _calibration(*surfaces: SurfaceCalibration) -> Calibration:
    return Calibration("simulated", (), surfaces, (), ())


def _nodes(base: Base, *surfaces: SurfaceCalibration, window: float = 0.0) -> np.ndarray:
    return np.array(
        emissivity_prior_nodes(
            IRON, base, calibration=_calibration(*surfaces), window_frac=window, band=BAND,
            angle_rad=0.0,
        )
    )  # fmt: skip


def test_a_film_whose_thickness_does_not_show_is_still_a_film():
    """Read as a pool, the 0.82 of iron under a film would make 200 C of deep oil 20 K too hot."""
    calibration = _calibration(FIT)
    assert fitted_surface(IRON, THIN, calibration=calibration) is FIT
    assert fitted_surface(IRON, DEEP, calibration=calibration) is None
    pool = replace(FIT, finish="ptfe-non-stick", emissivity=0.96, film=False)
    assert fitted_surface(IRON, DEEP, calibration=_calibration(FIT, pool)) is pool
    assert fitted_surface(IRON, THIN, calibration=_calibration(pool)) is None


def test_a_fit_below_what_the_film_can_emit_is_cut_there():
    low, high = physical_range(IRON, THIN, band=BAND, angle_rad=0.0)
    nodes = _nodes(THIN, FIT)
    assert low > 0.82
    assert nodes[:, 0].min() >= low - 1e-3
    assert nodes[:, 0].mean() < (low + high) / 2  # the fit still pulls
    assert emissivity_prior_range(
        IRON, THIN, calibration=_calibration(FIT), band=BAND, angle_rad=0.0
    )[0] == pytest.approx(low)  # fmt: skip


def test_no_pool_of_oil_emits_more_than_fresnel_lets_it():
    pool = replace(FIT, emissivity=1.0, emissivity_u=0.03, film=False)
    _, high = physical_range(IRON, DEEP, band=BAND, angle_rad=0.0)
    assert _nodes(DEEP, pool)[:, 0].max() <= high
    assert high <= 0.971


def test_a_truncated_normal_has_its_moments():
    """Cut at the mean, a normal's mean lies sqrt(2/pi) of its u beyond it."""
    water = replace(FIT, contents="water", finish="", cooks=10**6, film=False)
    low, high = physical_range(IRON, WATER, band=BAND, angle_rad=0.0)
    nodes = _nodes(WATER, replace(water, emissivity=low, emissivity_u=(high - low) / 8))
    expected = low + math.sqrt(2 / math.pi) * (high - low) / 8
    assert nodes[:, 0].mean() == pytest.approx(expected, abs=6e-4)


def test_where_fit_and_physics_exclude_one_another_both_count():
    other = replace(FIT, emissivity=0.40, emissivity_u=0.02)
    nodes = _nodes(THIN, other)
    assert nodes[0, 0] < 0.45
    assert nodes[-1, 0] > 0.88


def test_a_bare_pan_keeps_the_range_of_its_finish():
    known = replace(FIT, contents="dry", emissivity=0.93, emissivity_u=0.01, film=False)
    np.testing.assert_allclose(_nodes(DRY, known), _nodes(DRY))
    measured = IRON.model_copy(update={"emissivity_frac": Figure(0.92, low=0.91, high=0.93)})
    assert physical_range(measured, DRY, band=BAND, angle_rad=0.0) == pytest.approx((0.91, 0.93))


def test_few_cooks_are_widened_by_students_factor():
    few, many = (fitted_emissivity(replace(FIT, cooks=n))[1] for n in (3, 10**6))
    assert few / many == pytest.approx(2.776 / 1.960, rel=1e-3)  # Student's t at 4 degrees, tables
    assert many == pytest.approx(FIT.emissivity_u, rel=1e-4)
    scattered = fitted_emissivity(replace(FIT, cooks=10**6, reduced_chi2=4.0))[1]
    assert scattered == pytest.approx(2.0 * many)
