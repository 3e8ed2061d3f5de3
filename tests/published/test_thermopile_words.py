"""The thermopile array's words against the maker's published examples.

Data and licence: ``tests/data/thermopile-32x24-example`` (its README names the source).
"""

from __future__ import annotations

import csv
import dataclasses
from pathlib import Path

import numpy as np
import pytest

from trivet.errors import OutOfRangeError, RecordingError
from trivet.physics.sensor import thermopile as tp
from trivet.physics.sensor.halfframes import subpage_mask
from trivet.physics.sensor.thermopile import (
    confirm_subpage,
    saturated_pixels,
    stuck_pixels,
    updated_subpage,
)
from trivet.physics.sensor.thermopile_memory import calibration_memory

DATA = Path(__file__).parents[1] / "data" / "thermopile-32x24-example"
PIXEL = (11, 15)  # the worked example's pixel, row 12 and column 16 counted from 1


def _words(name):
    with (DATA / name).open() as file:
        return np.array([int(row["word_hex"], 16) for row in csv.DictReader(file)])


def _table(name):
    return np.loadtxt(DATA / name, delimiter=",")


@pytest.fixture(scope="module")
def memory():
    return _words("eeprom.csv")


@pytest.fixture(scope="module")
def constants(memory):
    return calibration_memory(memory)


@pytest.fixture(scope="module")
def rams():
    return _words("frame0_ram.csv"), _words("frame1_ram.csv")


@pytest.fixture(scope="module")
def expected():
    with (DATA / "expected_scalars.csv").open() as file:
        return {row["name"]: row["value"] for row in csv.DictReader(file)}


class TestFullFrame:
    def test_array_constants(self, constants, expected):
        blind = constants.compensation
        got = {
            "k_v_dd": constants.supply.counts_per_v,
            "v_dd_25": constants.supply.counts_at_reference,
            "k_v_ptat": constants.ambient.per_v,
            "k_t_ptat": constants.ambient.counts_per_k,
            "v_ptat_25": constants.ambient.counts_at_reference,
            "alpha_ptat": constants.ambient.alpha,
            "gain_ee": constants.gain_word,
            "tgc": blind.gradient,
            "k_v_cp": blind.per_v,
            "k_ta_cp": blind.per_k,
            "resolution_ee": constants.supply.resolution,
            "k_s_ta": constants.ranges.ambient_slope_per_k,
            "alpha_cp_subpage0": blind.alpha[0],
            "alpha_cp_subpage1": blind.alpha[1],
            "offset_cp_subpage0": blind.offset[0],
            "offset_cp_subpage1": blind.offset[1],
        }
        for name, value in got.items():
            assert value == pytest.approx(float(expected[name]), rel=2e-4, abs=1e-15), name
        corners = [float(text) for text in expected["corner_temperatures_c"].split(";")]
        assert np.array(constants.ranges.corner_k) - 273.15 == pytest.approx(corners)
        slope = float(expected["k_s_to_all_ranges"])
        assert constants.ranges.slope_per_k == pytest.approx([slope] * 4, abs=5e-7)

    @pytest.mark.parametrize(
        ("name", "attribute", "tolerance"),
        [
            ("offset", "offset", 0.0),
            ("alpha", "alpha", 1e-18),
            ("kta", "per_k", 5e-9),
            ("kv", "per_v", 0.0),
        ],
    )
    def test_pixel_constants(self, constants, name, attribute, tolerance):
        """All 768 of each; the tolerance is half the last printed digit."""
        got = getattr(constants.pixels, attribute)
        assert np.max(np.abs(got - _table(f"expected_{name}.csv"))) <= tolerance * 1.001

    def test_all_temperatures(self, constants, rams):
        want = _table("expected_object_temperature_c.csv")
        got = np.full((24, 32), np.nan)
        for subpage, ram in enumerate(rams):
            half = tp.half_frame_temperature_k(ram, constants=constants, subpage=subpage)
            mask = subpage_mask(24, cols=32, pattern="chess", subpage=subpage)
            assert np.array_equal(np.isfinite(half), mask)
            got[mask] = half[mask] - 273.15
        assert np.max(np.abs(got - want)) < 0.001

    def test_ambient_supply_gain(self, constants, rams):
        """Figures of an independent calculation, stated with the data: 33.990 C, 3.2925 V."""
        chip = tp.array_state(rams[1], constants=constants).chip_k
        assert chip - 273.15 == pytest.approx(33.990, abs=0.0006)
        assert tp.array_state(rams[1], constants=constants).supply_v == pytest.approx(
            3.2925, abs=6e-5
        )
        assert tp.array_state(rams[0], constants=constants).gain == pytest.approx(1.01307, abs=6e-6)

    def test_registers(self):
        with (DATA / "registers.csv").open() as file:
            control = [r for r in csv.DictReader(file) if r["register_hex"] == "0x800D"]
        readout = tp.readout_of_register(int(control[0]["word_hex"], 16))
        assert readout == tp.Readout(pattern="chess", resolution=2)
        assert tp.readout_of_register(0x0901).pattern == "interleaved"

    def test_reflected_temperature_counts_only_under_emissivity_one(self, constants, rams):
        """At 1 the surroundings have no part; at 0.9 the radiation balance must close."""
        cold = tp.half_frame_temperature_k(
            rams[0], constants=constants, subpage=0, reflected_k=260.0
        )
        plain = tp.half_frame_temperature_k(rams[0], constants=constants, subpage=0)
        assert np.nanmax(np.abs(cold - plain)) < 1e-9
        grey = tp.half_frame_temperature_k(
            rams[0], constants=constants, subpage=0, emissivity=0.9, reflected_k=300.0
        )
        balance = 0.9 * grey**4 + 0.1 * 300.0**4  # the sensor's own T**4 law
        assert np.nanmax(np.abs(balance**0.25 - plain)) < 0.01


class TestSinglePixel:
    """The datasheet's worked example of one pixel.

    Its printed end value, 80.363 C, follows from its printed steps; the words
    that it prints give 80.146 C.  The gap has two parts, both tested below: the
    printed compensated signal (679.25) implies a blind-pixel signal of 21.63
    counts where the printed words give 25.67 (subpage 0) or 25.78 (subpage 1),
    and the printed result stops after the first pass.
    """

    @pytest.fixture
    def table(self):
        with (DATA / "single_pixel_32x24.csv").open() as file:
            return list(csv.DictReader(file))

    @pytest.fixture
    def steps(self, table):
        rows = [r for r in table if r["kind"] in ("expected", "step", "result")]
        return {r["key"]: float(r["value"]) for r in rows}

    @pytest.fixture
    def example(self, table):
        """Words as printed; the 767 pixels that are not printed get arbitrary ones."""
        memory, ram = 1000 + np.arange(832) * 7 % 2000, 500 + np.arange(832)
        for row in table:
            address = row["key"][:6]
            if row["kind"] == "eeprom_word" and address.startswith("0x"):
                memory[int(address, 16) - 0x2400] = int(row["value"], 16)
            if row["kind"] == "ram_word" and address.startswith("0x"):
                ram[int(address, 16) - 0x0400] = int(row["value"], 16)
        at = PIXEL[0] * 32 + PIXEL[1]
        memory[64 + at], ram[at] = 0x08A0, 0x0261
        return calibration_memory(memory), ram

    def test_constants(self, example, steps):
        constants, _ = example
        got = {
            "k_v_dd": constants.supply.counts_per_v,
            "v_dd_25": constants.supply.counts_at_reference,
            "k_v_ptat": constants.ambient.per_v,
            "k_t_ptat": constants.ambient.counts_per_k,
            "v_ptat_25": constants.ambient.counts_at_reference,
            "alpha_ptat": constants.ambient.alpha,
            "gain_ee": constants.gain_word,
            "offset_cp_subpage0": constants.compensation.offset[0],
            "offset_cp_subpage1": constants.compensation.offset[1],
            "alpha_cp_subpage0": constants.compensation.alpha[0],
            "alpha_cp_subpage1": constants.compensation.alpha[1],
            "k_s_ta": constants.ranges.ambient_slope_per_k,
            "k_s_to_2": constants.ranges.slope_per_k[1],
            "corner_temperature_3": constants.ranges.corner_k[2] - 273.15,
            "corner_temperature_4": constants.ranges.corner_k[3] - 273.15,
            "alpha_pixel": constants.pixels.alpha[PIXEL],
        }
        for name, value in got.items():
            assert value == pytest.approx(steps[name], rel=1e-7), name

    def test_supply_ambient_gain(self, example, steps):
        constants, ram = example
        volt = tp.array_state(ram, constants=constants).supply_v
        assert volt == pytest.approx(steps["v_dd"], abs=0.0005)
        assert volt - 3.3 == pytest.approx(steps["delta_v"], abs=1e-8)
        chip = tp.array_state(ram, constants=constants).chip_k - 273.15
        assert chip == pytest.approx(steps["t_ambient_c (recomputed exactly)"], abs=1e-6)
        assert chip == pytest.approx(steps["t_ambient_c (as printed)"], abs=5e-5)
        assert tp.array_state(ram, constants=constants).gain == pytest.approx(
            steps["gain"], abs=1e-12
        )

    def test_signal_before_the_blind_pixel(self, example, steps):
        constants, ram = example
        blind = constants.compensation
        bare = tp.compensated_signal(
            tp.array_state(ram, constants=constants),
            constants=constants,
            subpage=0,
            pattern="chess",
        )
        chip = tp.array_state(ram, constants=constants).chip_k - 298.15
        extra = tp.array_state(ram, constants=constants).supply_v - 3.3
        raw = (ram[776] - 65536) * tp.array_state(ram, constants=constants).gain
        signal = raw - blind.offset[0] * (1 + blind.per_k * chip) * (1 + blind.per_v * extra)
        got = bare[PIXEL] + blind.gradient * signal
        assert got == pytest.approx(steps["v_ir before gradient correction (as printed)"], abs=1e-6)
        # a second calculation, by others, from the same words: 0.015 counts or 0.001 K away
        assert got == pytest.approx(steps["v_ir before gradient correction (recomputed)"], abs=0.02)
        # where the printed example parts from its own words:
        printed = (
            steps["v_ir before gradient correction (as printed)"]
            - steps["v_ir compensated (as printed)"]
        )
        assert signal == pytest.approx(25.667, abs=0.001)
        assert printed == pytest.approx(21.632, abs=0.001)

    def test_sensitivity(self, example, steps):
        constants, ram = example
        alpha = tp.compensated_alpha(
            tp.array_state(ram, constants=constants), constants=constants, subpage=0
        )[PIXEL]
        assert alpha == pytest.approx(steps["alpha compensated (as printed)"], rel=2e-6)

    def test_printed_steps_lead_to_the_printed_result(self, steps):
        got = tp.first_pass_temperature_k(
            steps["v_ir compensated (as printed)"],
            alpha=steps["alpha compensated (as printed)"],
            background=steps["t_ar (as printed)"],
            slope_per_k=steps["k_s_to_2"],
        )
        result = steps["t_object_c (as printed; follows from the printed steps)"]
        assert float(got) - 273.15 == pytest.approx(result, abs=1e-5)

    def test_words_lead_to_the_recomputed_result(self, example, steps):
        constants, ram = example
        got = tp.object_temperature_k(
            tp.compensated_signal(
                tp.array_state(ram, constants=constants),
                constants=constants,
                subpage=1,
                pattern="chess",
            ),
            alpha=tp.compensated_alpha(
                tp.array_state(ram, constants=constants), constants=constants, subpage=1
            ),
            background=tp.array_state(ram, constants=constants).chip_k ** 4,
            constants=constants,
        )
        name = "t_object_c (whole chain recomputed from the words; subpage-1 compensation pixel)"
        assert float(got[PIXEL]) - 273.15 == pytest.approx(steps[name], abs=1e-4)


class TestInterleaved:
    def test_correction_by_hand(self, memory, constants, rams):
        """Datasheet 11.2.2.5.3: + C3 (2 il - 1) - C2 conv; blind pixel 1 gets C1 more."""
        ram = rams[0]
        chess = tp.compensated_signal(
            tp.array_state(ram, constants=constants),
            constants=constants,
            subpage=0,
            pattern="chess",
        )
        other = tp.compensated_signal(
            tp.array_state(ram, constants=constants),
            constants=constants,
            subpage=0,
            pattern="interleaved",
        )
        _, second, third = constants.compensation.interleaved
        assert (second, third) == (3.5, 0.0)  # word 0x2435 of the example, by hand
        added = other - chess
        # columns 0..3 of an even row by hand: (n+2)//4 - (n+3)//4 + (n+1)//4 - n//4 = 0, -1, 0, 1
        assert added[0, :4] == pytest.approx([0.0, 3.5, 0.0, -3.5])
        assert added[1, :4] == pytest.approx([0.0, -3.5, 0.0, 3.5])

    def test_half_frame_fills_every_second_row(self, constants, rams):
        half = tp.half_frame_temperature_k(
            rams[0], constants=constants, subpage=1, readout=tp.Readout(pattern="interleaved")
        )
        assert np.all(np.isfinite(half[1::2]))
        assert np.all(np.isnan(half[0::2]))

    def test_memory_calibrated_interleaved_needs_no_correction(self, memory, rams):
        changed = memory.copy()
        changed[10] |= 0x0800
        constants = calibration_memory(changed)
        assert constants.calibrated_pattern == "interleaved"
        plain = tp.compensated_signal(
            tp.array_state(rams[0], constants=constants),
            constants=calibration_memory(memory),
            subpage=0,
            pattern="chess",
        )
        got = tp.compensated_signal(
            tp.array_state(rams[0], constants=constants),
            constants=constants,
            subpage=0,
            pattern="interleaved",
        )
        assert np.array_equal(got, plain)


def test_ranges_join_and_use_their_own_slopes(memory):
    """Continuous at every corner; a slope of one range moves only it and those beyond."""
    constants = calibration_memory(memory)
    slopes = constants.ranges.slope_per_k
    bent = dataclasses.replace(
        constants,
        ranges=dataclasses.replace(
            constants.ranges,
            corner_k=(233.15, 273.15, 433.15, 593.15),
            slope_per_k=(*slopes[:2], -0.0010, slopes[3]),
        ),
    )
    signal = np.linspace(-700.0, 9000.0, 200001)
    kwargs = {"alpha": 1.2e-7, "background": 300.0**4}
    hot = tp.object_temperature_k(signal, constants=bent, **kwargs)
    assert np.nanmax(np.abs(np.diff(hot))) < 0.05  # no step at a corner
    usual = tp.object_temperature_k(signal, constants=constants, **kwargs)
    below = (usual > 274.0) & (usual < 430.0)
    assert np.max(np.abs(hot - usual)[below]) < 1e-9
    above = usual > 500.0
    assert np.min((hot - usual)[above]) > 1.0


class TestRefusals:
    @pytest.mark.parametrize("count", [0, 768, 831, 833])
    def test_truncated_memory(self, memory, count):
        words = np.resize(memory, count)
        with pytest.raises(RecordingError, match=rf"calibration memory: {count} words.*832"):
            calibration_memory(words)

    @pytest.mark.parametrize("word", [0x0000, 0xFFFF])
    def test_blank_memory(self, word):
        with pytest.raises(RecordingError, match=f"0x{word:04X} throughout"):
            calibration_memory(np.full(832, word))

    def test_memory_whose_second_half_was_not_read(self, memory):
        words = memory.copy()
        words[400:] = 0
        with pytest.raises(RecordingError, match="stuck words or a truncated read"):
            calibration_memory(words)

    def test_gain_of_zero_in_memory_and_in_frame(self, memory, constants, rams):
        words = memory.copy()
        words[48] = 0
        with pytest.raises(RecordingError, match=r"gain \(0x2430\) is zero"):
            calibration_memory(words)
        ram = rams[0].copy()
        ram[778] = 0
        with pytest.raises(RecordingError, match="gain word 0x070A is 0"):
            tp.half_frame_temperature_k(ram, constants=constants, subpage=0)

    def test_words_that_are_not_words(self, memory):
        with pytest.raises(RecordingError, match="integers of 16 bits"):
            calibration_memory(memory.astype(float))
        words = memory.copy()
        words[5] = 70000
        with pytest.raises(RecordingError, match="word 0x2405 is 70000"):
            calibration_memory(words)

    @pytest.mark.parametrize("word", [0x0000, 0xFFFF, 0x1234])
    def test_stuck_half_frame(self, constants, rams, word):
        ram = rams[0].copy()
        ram[:768] = word
        with pytest.raises(RecordingError, match=f"0x{word:04X}: stuck words"):
            tp.half_frame_temperature_k(ram, constants=constants, subpage=0)

    def test_dead_thermometer(self, constants, rams):
        ram = rams[0].copy()
        ram[[768, 800]] = 0
        with pytest.raises(RecordingError, match="0x0720 and 0x0700 are zero"):
            tp.half_frame_temperature_k(ram, constants=constants, subpage=0)

    def test_half_frame_of_wrong_length(self, constants, rams):
        with pytest.raises(RecordingError, match="half frame: 834 words"):
            tp.half_frame_temperature_k(np.resize(rams[0], 834), constants=constants, subpage=0)

    def test_subpage_and_emissivity(self, constants, rams):
        with pytest.raises(RecordingError, match="subpage 2 does not exist"):
            tp.half_frame_temperature_k(rams[0], constants=constants, subpage=2)
        with pytest.raises(OutOfRangeError, match="emissivity 0"):
            tp.half_frame_temperature_k(rams[0], constants=constants, subpage=0, emissivity=0.0)

    def test_subpage_that_contradicts_the_words(self, rams):
        assert updated_subpage(rams[1], previous=rams[0]) == 1
        assert updated_subpage(rams[0], previous=rams[0]) is None
        confirm_subpage(rams[1], previous=rams[0], stated=1)
        with pytest.raises(RecordingError, match="says subpage 0, but the pixels of subpage 1"):
            confirm_subpage(rams[1], previous=rams[0], stated=0)

    def test_broken_pixel_is_nan(self, memory, rams):
        words = memory.copy()
        words[64 + 32 * 4 + 6] = 0
        constants = calibration_memory(words)
        half = tp.half_frame_temperature_k(rams[0], constants=constants, subpage=0)
        assert np.isnan(half[4, 6])
        assert np.count_nonzero(np.isfinite(half)) == 383

    def test_saturated_and_stuck_pixels(self, rams):
        ram = rams[0].copy()
        ram[0], ram[33] = 0x7FFF, 0x8000
        assert np.argwhere(saturated_pixels(ram)).tolist() == [[0, 0], [1, 1]]
        rng = np.random.default_rng(1)
        stack = rams[0] + rng.integers(-3, 4, (20, 832))
        stack[:, 70] = 77
        assert np.argwhere(stuck_pixels(stack)).tolist() == [[2, 6]]
        assert not stuck_pixels(stack[:4]).any()
