"""What a design can see, against plane geometry; expected numbers are computed here."""

from __future__ import annotations

import copy
import math

import numpy as np
import pytest
from pydantic import ValidationError

from trivet.errors import DesignError, InputError, OutOfRangeError
from trivet.files.design import read_design
from trivet.models.contents import layer_m
from trivet.physics.radiation.planck import band_radiance, flat_band, radiating_temperature_k
from trivet.records.design import Design
from trivet.records.provenance import fingerprint
from trivet.stages.predict.posesearch import search_pose
from trivet.stages.predict.seeing import seeing_of, sight_cautions
from trivet.stages.predict.shadows import mount_tolerance
from trivet.stages.predict.views import seen_by

FLAT = {"depth": "1 um", "thickness": "1 um"}


def made(tables):
    return Design.model_validate(tables)


def seen(tables):
    design = made(tables)
    return seeing_of(design, seen=seen_by(design))


def centred(tables, **sensor):
    """Make one burner in the middle under a head at 0.75 m, with one flat pan."""
    tables["burners"] = [{**tables["burners"][0], "x": "0 mm", "y": "0 mm"}]
    tables["heads"][0]["mount"]["height"] = "0.75 m"
    tables["pans"] = [{**tables["pans"][0], **FLAT}]
    tables["bases"] = [tables["bases"][0]]
    tables["sensors"][0] |= sensor
    return tables


def line_of_ten(tables, *, heads=(-0.38, 0.38), depth="45 mm", diameter="240 mm"):
    """Make a 60 in line of ten burners under heads at 1.15 m with 57 x 44 deg."""
    tables["cooktop"] = {"width": "1524 mm", "depth": "800 mm", "surface": "gas-grate"}
    first = tables["burners"][0]
    tables["burners"] = [
        {**first, "name": f"{row}{at}", "x": f"{305 * (at - 2)} mm", "y": f"{y} mm"}
        for row, y in (("front", -150), ("back", 150))
        for at in range(5)
    ]
    tables["sensors"][0] |= {"rows": 120, "cols": 160, "fov_h": "57 deg", "fov_v": "44 deg"}
    head = tables["heads"][0]
    tables["heads"] = [
        {**head, "name": f"head{at}", "mount": {"x": f"{x} m", "height": "1.15 m"}}
        for at, x in enumerate(heads)
    ]
    tables["pans"] = [{**tables["pans"][0], "depth": depth, "diameter": diameter}]
    return tables


# ---------------------------------------------------------------- footprints
def test_lens_models_differ_by_48_percent_at_110_deg(design_tables):
    # Published check GEO-03 (tests/published/geometry.csv): 66.94 against 45.01 mm at 0.75 m.
    sizes = {}
    for model in ("rectilinear", "equal-angle"):
        tables = centred(copy.deepcopy(design_tables), fov_h="110 deg", fov_v="75 deg", lens=model)
        sizes[model] = seen(tables).pans[0].across_m * 1e3
    assert sizes["rectilinear"] == pytest.approx(66.94, abs=0.01)
    assert sizes["equal-angle"] == pytest.approx(45.01, abs=0.02)
    assert sizes["rectilinear"] / sizes["equal-angle"] - 1 == pytest.approx(0.487, abs=0.002)


def test_the_map_of_a_level_head_is_the_pinhole_footprint_everywhere(design_tables):
    found = seen(design_tables).maps[0]
    assert found.along_m.shape == (24, 32)
    along, across = (2 * 0.70 * math.tan(math.radians(f / 2)) for f in (35.0, 55.0))
    assert np.allclose(found.along_m, along / 24, rtol=1e-9)
    assert np.allclose(found.across_m, across / 32, rtol=1e-9)


def test_a_large_array_is_thinned_and_keeps_its_ends(design_tables):
    design_tables["sensors"][0] |= {"rows": 120, "cols": 160}
    found = seen(design_tables).maps[0]
    assert found.along_m.shape == (32, 32)
    assert (found.row_px[0], found.row_px[-1], found.col_px[-1]) == (0.0, 119.0, 159.0)


# ---------------------------------------------------------------- beside the pan
def test_cold_and_hot_surrounds_err_both_ways(design_tables):
    # [own calculation] a black pan behind a clear window: L = (1 - s) L(180 C) + s L(beside)
    tables = centred(design_tables)
    tables["pans"][0]["emissivity"] = "1"
    tables["heads"][0]["window"] = {"transmittance": "1"}
    tables["surroundings"] |= {
        "beside_cold": "25 degC", "beside_hot": "450 degC", "beside_pan": "180 degC"
    }  # fmt: skip
    one, band = seen(tables).pans[0], flat_band(8e-6, 14e-6)
    pan = band_radiance(453.15, band=band)
    for beside_k, share, got in (
        (298.15, one.loss_most_frac, one.cold_k),
        (723.15, one.loss_most_frac, one.hot_k),
        (298.15, one.rim_loss_most_frac, one.rim_cold_k),
        (723.15, one.rim_loss_most_frac, one.rim_hot_k),
    ):
        mixed = (1 - share) * pan + share * band_radiance(beside_k, band=band)
        expected = float(radiating_temperature_k(mixed, band=band)) - 453.15
        assert got == pytest.approx(expected, abs=0.01)
    assert one.rim_cold_k < one.cold_k < 0 < one.hot_k < one.rim_hot_k


def test_five_percent_from_60_degc_costs_6_5_k_at_230(design_tables):
    # Own quadrature apart from this code: 5 % of the signal, flat 8-14 um.
    tables = centred(design_tables, blur_px="0")
    tables["pans"][0] |= {"emissivity": "1", "diameter": "150 mm"}  # under 10 px: halo 5 %
    tables["heads"][0]["window"] = {"transmittance": "1"}
    tables["surroundings"] |= {"beside_cold": "60 degC", "beside_pan": "230 degC"}
    one = seen(tables).pans[0]
    assert not one.ten_by_ten
    assert "under the 10" in one.remark
    assert one.loss_most_frac == pytest.approx(0.05, abs=1e-6)
    assert one.cold_k == pytest.approx(-6.5, abs=0.1)


# ---------------------------------------------------------------- walls, fill, lids
def test_a_filled_pot_shows_more_of_its_surface(design_tables):
    design_tables["pans"][0] |= {"depth": "250 mm"}
    design_tables["bases"] = [
        {"name": "dry", "contents": "dry"},
        {"name": "water", "contents": "water", "volume": "9 L"},
    ]
    fills = [one for one in seen(design_tables).fills if one.pan == "iron-24"]
    dry, water = (next(one for one in fills if one.base == base) for base in ("dry", "water"))
    assert water.fill_m == pytest.approx(9e-3 / (math.pi * 0.12**2))
    assert water.visible_frac > dry.visible_frac + 0.2
    aside = math.hypot(0.2, 0.13) + 0.12
    assert water.far_angle_rad == pytest.approx(math.atan(aside / (0.70 - 0.005 - water.fill_m)))


def test_steep_liquids_and_lids_are_said(design_tables):
    design_tables["heads"][0]["mount"] = {"height": "0.28 m"}
    design_tables["pans"][0] |= {"lid": True}
    found = seen(design_tables)
    assert found.lidded == ("iron-24",)
    steep = [one for one in found.fills if one.far_angle_rad > math.radians(50) and one.fill_m > 0]
    assert steep
    assert all("degrees" in one.remark for one in steep)
    text = " ".join(sight_cautions(found))
    assert "lid" in text
    assert "50 to 55" in text


def test_a_flared_wall_hides_less_and_its_rim_reaches_further(design_tables):
    flared = copy.deepcopy(design_tables)
    flared["pans"][0] |= {"flare": "30 deg"}
    plain, leaning = (seen_by(made(tables)).views[0] for tables in (design_tables, flared))
    assert leaning.visible_base_frac > plain.visible_base_frac
    moved = 0.045 * math.tan(math.radians(30))
    assert plain.margin_m - leaning.margin_m == pytest.approx(moved, abs=1e-5)


# ---------------------------------------------------------------- shadows
@pytest.mark.parametrize("flare", ["0 deg", "0.001 deg", "5 deg", "30 deg"])
def test_contents_fill_a_frustum(design_tables, flare):
    pan = {**design_tables["pans"][0], "diameter": "200 mm", "depth": "120 mm", "flare": flare}
    design_tables["pans"] = [pan]
    design_tables["bases"] = [{"name": "water", "contents": "water", "volume": "1.5 L"}]
    design = made(design_tables)
    height = layer_m(design.bases[0], pan=design.pans[0])
    # [own calculation] volume of a frustum: pi h / 3 (R^2 + R r + r^2)
    low, high = 0.1, 0.1 + height * math.tan(float(design.pans[0].flare_rad))
    volume = math.pi * height / 3 * (low**2 + low * high + high**2)
    assert volume == pytest.approx(1.5e-3, rel=2e-5)


def test_a_lid_is_remarked_on_what_it_hides(design_tables):
    design_tables["pans"][0]["lid"] = True
    found = seen(design_tables)
    lidded = design_tables["pans"][0]["name"]
    for one in found.fills:
        assert ("lid" in one.remark) == (one.pan == lidded)


def test_a_tall_pan_hides_the_burner_behind_it(design_tables):
    design_tables["heads"][0]["mount"] = {"y": "-0.35 m", "height": "0.70 m"}
    stock = {**design_tables["pans"][0], "name": "stock", "diameter": "240 mm", "depth": "250 mm"}
    design_tables["pans"].append(stock)
    found = seen(design_tables)
    worst = max(found.shadows, key=lambda one: one.hidden_frac)
    assert (worst.by_pan, worst.hidden_frac > 0.4) == ("stock", True)
    assert worst.burner.startswith("rear")
    assert worst.by_burner.startswith("front")
    own = next(one for one in found.pans if (one.burner, one.pan) == (worst.burner, worst.pan))
    assert own.crowded_frac <= 1.0 - worst.hidden_frac + 0.01
    assert any("can hide" in text for text in sight_cautions(found))


def test_pans_that_would_overlap_are_not_put_side_by_side(design_tables):
    # 300 mm pans do not fit on burners 260 mm apart: no such pair may be listed.
    wide = {**design_tables["pans"][0], "name": "wide", "diameter": "300 mm", "depth": "200 mm"}
    design_tables["pans"].append(wide)
    pairs = {frozenset((one.burner, one.by_burner)) for one in seen(design_tables).shadows
             if one.by_pan == one.pan == "wide"}  # fmt: skip
    assert frozenset(("front-left", "rear-left")) not in pairs


# ---------------------------------------------------------------- several heads
def test_a_ten_burner_line_is_covered_by_two_heads(design_tables):
    found = seen(line_of_ten(design_tables))
    assert len(found.unions) == 10
    assert all(one.whole_by for one in found.unions)
    assert found.unseen == ()
    # [own calculation] W = 2 x 1.15 tan(28.5 deg) = 1.2488 m less 0.76 m
    seam = found.seams[0]
    assert seam.overlap_m == pytest.approx(1.2488 - 0.76, abs=1e-3)
    assert seam.burners_cut == ()


def test_a_seam_cuts_a_stockpot_in_the_middle(design_tables):
    # [own calculation] a rim at 0.255 m narrows each half field to 0.895 tan(28.5 deg) = 0.486 m:
    # the inner edges lie at x = +-106 mm, a pot of 250 mm with its margin needs 135 mm.
    found = seen(line_of_ten(design_tables, depth="250 mm", diameter="250 mm"))
    cut = {one.burner for one in found.unions if one.cut_by}
    assert cut == {"front2", "back2"}
    assert set(found.seams[0].burners_cut) == cut
    assert all(one.union_frac == 1.0 for one in found.unions if one.cut_by)
    assert any("seam" in text for text in sight_cautions(found))


def test_a_burner_seen_by_none_is_named(design_tables):
    found = seen(line_of_ten(design_tables, heads=(-0.38,)))
    assert found.unseen == ("front4", "back4")
    assert found.seams == ()


# ---------------------------------------------------------------- tolerance
def test_tolerance_names_the_pan_that_fails_first(design_tables):
    design_tables["heads"][0]["mount"] |= {"height": "0.91 m"}
    design_tables["pans"][1] |= {"diameter": "235 mm"}
    one = seen(design_tables).tolerance
    assert one.draws == 10_000
    assert 0 < one.ok_draws < one.draws
    assert one.low_frac < one.ok_frac < one.high_frac
    # the rim of the 240 mm pan at 50 mm needs 260 mm, that of the 235 mm pan 257.5 at 52.6 mm
    assert one.worst_pan == "iron-24"
    assert one.ok_frac <= min(line.ok_frac for line in one.lines)


def test_the_probability_of_a_drop_in_height_is_exact(design_tables):
    # Position errors alone, one burner ahead: it stays in view while dz tan - dy <= spare;
    # for rectangular errors that share is an area of the square, counted here on a grid.
    design_tables["burners"] = [{**design_tables["burners"][0], "x": "0 mm"}]
    design_tables["pans"] = [{**design_tables["pans"][0], **FLAT}]
    tolerance = {"position_tolerance": "8 mm", "angle_tolerance": "0 deg"}
    design_tables["heads"][0]["mount"] = {"height": "0.83 m", **tolerance}
    design = made(design_tables)
    slope = math.tan(math.radians(17.5))
    spare = 0.83 * slope - 0.26
    grid = (np.arange(2000) + 0.5) / 1000 - 1.0
    expected = (spare + 0.008 * (grid[:, None] * slope + grid[None, :]) >= 0).mean()
    one = mount_tolerance(
        design, eyes=seen_by(design).eyes, stream=lambda _: np.random.default_rng(9), draws=40_000
    )
    assert one.ok_frac == pytest.approx(expected, abs=0.01)
    assert one.low_frac - 0.002 < expected < one.high_frac + 0.002


def test_a_negative_tolerance_is_refused(design_tables):
    design_tables["heads"][0]["mount"] |= {"position_tolerance": "-1 mm"}
    with pytest.raises(ValidationError):
        made(design_tables)


# ---------------------------------------------------------------- pose search
def test_the_search_finds_the_height_of_plane_geometry(design_tables):
    # [own calculation] (130 + 120 + 10) mm / tan(17.5 deg) = 0.82461 m
    tables = design_tables
    tables["pans"] = [{**tables["pans"][0], **FLAT}]
    tables["search"] = {"height": {"value": "0.7 m", "low": "0.5 m", "high": "1.1 m"}}
    best = search_pose(made(tables), eyes=seen_by(made(tables)).eyes).poses[0]
    assert best.fits
    assert best.height_m == pytest.approx(0.260 / math.tan(math.radians(17.5)), abs=1e-5)
    assert best.margin_m >= 0.0


def test_the_search_says_which_constraint_fails_and_by_how_much(design_tables):
    tables = design_tables
    tables["pans"] = [{**tables["pans"][0], **FLAT}]
    # At 0.70 m the rim sticks out by 260 - 220.71 = 39.29 mm whatever else is tried.
    tables["search"] = {"height": {"value": "0.6 m", "low": "0.5 m", "high": "0.7 m"}}
    found = search_pose(made(tables), eyes=seen_by(made(tables)).eyes)
    assert not found.poses[0].fits
    assert "leaves the field by 39.3 mm" in found.answer
    tables["search"] = {
        "height": {"value": "0.9 m", "low": "0.83 m", "high": "1 m"},
        "min_pixels_across": "12",
    }
    found = search_pose(made(tables), eyes=seen_by(made(tables)).eyes)
    # 0.24 m over 0.83 x 2 tan(27.5 deg) / 32 = 8.89 pixels
    assert "8.89 pixels" in found.answer
    assert "3.11 short of 12" in found.answer


def test_the_search_ranks_lenses_and_finds_the_middle(design_tables):
    tables = design_tables
    tables["heads"][0]["mount"] |= {"x": "0.08 m"}
    tables["search"] = {
        "height": {"value": "0.7 m", "low": "0.6 m", "high": "1.2 m"},
        "x": {"value": "0 m", "low": "-0.1 m", "high": "0.1 m"},
        "sensors": ["thermopile-32x24-55", "bolometer-80x60-51", "thermopile-8x8-60"],
    }
    found = search_pose(made(tables), eyes=seen_by(made(tables)).eyes)
    assert found.poses[0].sensor == "bolometer-80x60-51"
    assert {one.sensor for one in found.poses} == set(tables["search"]["sensors"])
    pixels = [one.pixels_across for one in found.poses if one.fits]
    assert pixels == sorted(pixels, reverse=True)


def test_a_tilted_head_is_found_where_the_mount_is_off_the_middle(design_tables):
    tables = design_tables
    tables["heads"][0]["mount"] |= {"y": "0.15 m"}
    tables["pans"] = [{**tables["pans"][0], **FLAT}]
    tables["search"] = {
        "height": {"value": "0.9 m", "low": "0.7 m", "high": "1.2 m"},
        "tilt": {"value": "0 deg", "low": "-25 deg", "high": "25 deg"},
    }
    found = search_pose(made(tables), eyes=seen_by(made(tables)).eyes)
    assert found.poses[0].fits
    assert math.degrees(found.poses[0].tilt_rad) < -5  # it looks back towards the front


def test_a_turned_field_fits_a_deep_hob_from_lower(design_tables):
    # Burners at +-100 mm across and +-250 mm along: with rim and margin 230 and 380 mm.
    # [own calculation] straight: 380 mm / tan(17.5 deg) = 1.2052 m; turned by a quarter:
    # the longer of 380 mm / tan(27.5 deg) = 0.7300 m and 230 mm / tan(17.5 deg) = 0.7295 m
    tables = design_tables
    tables["cooktop"] |= {"width": "700 mm", "depth": "900 mm"}
    for burner, (x, y) in zip(
        tables["burners"], ((-100, -250), (100, -250), (-100, 250), (100, 250)), strict=True
    ):
        burner |= {"x": f"{x} mm", "y": f"{y} mm"}
    tables["pans"] = [{**tables["pans"][0], **FLAT}]
    tables["search"] = {"height": {"value": "0.9 m", "low": "0.6 m", "high": "1.3 m"}}
    eyes = seen_by(made(tables)).eyes
    straight = search_pose(made(tables), eyes=eyes).poses[0]
    assert straight.height_m == pytest.approx(0.380 / math.tan(math.radians(17.5)), abs=1e-4)
    for turn in ("roll", "pan"):
        tables["search"] = {
            "height": {"value": "0.9 m", "low": "0.6 m", "high": "1.3 m"},
            turn: {"value": "0 deg", "low": "0 deg", "high": "180 deg"},
        }
        best = search_pose(made(tables), eyes=eyes).poses[0]
        assert best.fits
        assert best.height_m == pytest.approx(0.380 / math.tan(math.radians(27.5)), abs=2e-3)
        angle = getattr(best.heads[0], f"{turn}_rad")
        assert math.degrees(angle) == pytest.approx(90.0, abs=1.0)


def test_two_heads_share_a_line_of_burners(design_tables):
    # [own calculation] four burners 300 mm apart: each head takes two, from the middle between
    # them; (150 + 120 + 10) mm / tan(27.5 deg) = 0.53788 m
    tables = design_tables
    tables["cooktop"] |= {"width": "1300 mm"}
    first, head = tables["burners"][0], tables["heads"][0]
    tables["burners"] = [
        {**first, "name": f"b{at}", "x": f"{300 * at - 450} mm", "y": "0 mm"} for at in range(4)
    ]
    tables["heads"] = [{**head, "name": name} for name in ("one", "two")]
    tables["pans"] = [{**tables["pans"][0], **FLAT}]
    ranges = {
        "height": {"value": "0.7 m", "low": "0.4 m", "high": "1.2 m"},
        "x": {"value": "0 m", "low": "-0.5 m", "high": "0.5 m"},
    }
    tables["search"] = {"head": "one", **ranges, "others": [{"head": "two", **ranges}]}
    found = search_pose(made(tables), eyes=seen_by(made(tables)).eyes)
    best = found.poses[0]
    assert best.fits
    assert [one.head for one in best.heads] == ["one", "two"]
    assert sorted(one.x_m for one in best.heads) == pytest.approx([-0.3, 0.3], abs=2e-3)
    for one in best.heads:
        assert one.height_m == pytest.approx(0.280 / math.tan(math.radians(27.5)), abs=5e-3)
    assert "one at x" in found.answer
    assert "two at x" in found.answer
    assert any(text.startswith("two: height") for text in found.free)


def test_more_than_four_free_parameters_are_searched_too(design_tables):
    tables = design_tables
    tables["pans"] = [{**tables["pans"][0], **FLAT}]
    turn = {"value": "0 deg", "low": "-20 deg", "high": "20 deg"}
    tables["search"] = {
        "height": {"value": "0.9 m", "low": "0.5 m", "high": "1.1 m"},
        "x": {"value": "0 m", "low": "-0.1 m", "high": "0.1 m"},
        "y": {"value": "0 m", "low": "-0.1 m", "high": "0.1 m"},
        "tilt": turn, "pan": turn, "roll": turn,
    }  # fmt: skip
    eyes = seen_by(made(tables)).eyes
    best = search_pose(made(tables), eyes=eyes).poses[0]
    assert best.fits
    # The level pose at 0.8246 m is one of those allowed: the best is no worse.
    tables["search"] = {"height": tables["search"]["height"]}
    level = search_pose(made(tables), eyes=eyes).poses[0]
    assert best.pixels_across > level.pixels_across - 0.05
    tables["search"] = {"others": [{"head": ""}]}
    with pytest.raises(InputError, match="named twice"):
        search_pose(made(tables), eyes=eyes)


def test_without_a_search_section_nothing_is_searched(design):
    assert search_pose(design, eyes=seen_by(design).eyes) is None


def test_a_search_without_a_range_is_refused(design_tables):
    design_tables["search"] = {"height": "0.7 m"}
    with pytest.raises(InputError, match="no range"):
        seen(design_tables)


def test_faults_of_the_search_section_are_named(tmp_path):
    from trivet.files.newproject import new_project

    new_project(tmp_path / "p")
    path = tmp_path / "p" / "design.toml"
    text = path.read_text("utf-8")
    start = text.index("[search]")
    path.write_text(
        text[:start] + '[search]\nheight = "0.7 m"\nsensors = ["no-such-card"]\nhead = "left"\n'
        + text[text.index("# ---", start) :],
        "utf-8",
    )  # fmt: skip
    with pytest.raises(DesignError) as caught:
        read_design(path)
    for word in ("search.height", "no-such-card", "search.head"):
        assert word in str(caught.value)


# ---------------------------------------------------------------- refusals, sameness
def test_a_rectilinear_lens_of_180_deg_is_refused(design_tables):
    design_tables["sensors"][0] |= {"fov_h": "180 deg"}
    with pytest.raises(OutOfRangeError, match="180"):
        seen(design_tables)


@pytest.mark.parametrize("height", ["0 m", "-0.2 m"])
def test_a_mount_below_the_top_is_refused(design_tables, height):
    design_tables["heads"][0]["mount"]["height"] = height
    with pytest.raises(ValidationError):
        made(design_tables)


def test_a_pan_that_reaches_the_head_is_refused(design_tables):
    design_tables["pans"][0]["depth"] = "0.8 m"
    with pytest.raises(OutOfRangeError, match="iron-24"):
        seen(design_tables)


def test_the_same_design_gives_the_same_bytes(design_tables):
    assert fingerprint(seen(design_tables)) == fingerprint(seen(copy.deepcopy(design_tables)))
