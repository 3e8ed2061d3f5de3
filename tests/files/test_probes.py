"""Probe logs as loggers write them, their faults, and the pot set.

Data and licence of the pot set: ``tests/data/pot-water-thermocouples``.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import openpyxl
import pytest

from trivet.errors import FormatError, InputError, NotEnoughDataError, ProbeLogError, RecordingError
from trivet.files.benchcook import read_events
from trivet.files.probes import read_probe_log
from trivet.physics.sensor.probelog import common_temperature_offsets, offset_at_k

POT = Path(__file__).parents[1] / "data" / "pot-water-thermocouples"


def _log(folder, text, name="probes.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def _rows(count=60, step=1.0):
    time = np.arange(count) * step
    return time, 24.0 + 1.5 * time, 23.5 + 1.4 * time


def _text(time, *columns, header="time_s,pan,oil", delimiter=","):
    lines = [header] + [
        delimiter.join(f"{value:.2f}" for value in row) for row in zip(time, *columns, strict=True)
    ]
    return "\n".join(lines)


def _notes(log):
    return " | ".join(f"{note.what} @ {note.where} -> {note.advice}" for note in log.notes)


def _refused(folder, text, words, error=ProbeLogError):
    path = _log(folder, text)
    before = path.read_bytes()
    with pytest.raises(error, match=words):
        read_probe_log(path)
    assert path.read_bytes() == before


class TestGoodInput:
    def test_csv(self, tmp_path):
        time, pan, oil = _rows()
        log = read_probe_log(_log(tmp_path, _text(time, pan, oil)))
        assert log.columns == ("pan", "oil")
        assert log.time_s == pytest.approx(time)
        assert log.readings_c == pytest.approx(np.column_stack([pan, oil]))
        assert not log.notes

    def test_xlsx_with_two_header_rows(self, tmp_path):
        book = openpyxl.Workbook()
        sheet = book.active
        sheet.append([None, "Pan", None, "Water"])
        sheet.append(["Time (s)", "T1 (C)", "T2 (C)", "T3 (C)"])
        for at in range(20):
            sheet.append([10 * at, 20.0 + at, 21.0 + at, 22.0 + at])
        sheet.merge_cells("B1:C1")
        book.save(tmp_path / "probes.xlsx")
        log = read_probe_log(tmp_path / "probes.xlsx")
        assert log.columns == ("Pan T1 (C)", "Pan T2 (C)", "Water T3 (C)")
        assert log.readings_c[3].tolist() == [23.0, 24.0, 25.0]
        assert log.column("water t3") == 2
        assert log.column("T9") is None

    def test_csv_with_two_header_rows(self, tmp_path):
        text = "50 W,,100 W,\ntime_s,a,a,b\n" + "\n".join(f"{t},20,21,22" for t in range(9))
        log = read_probe_log(_log(tmp_path, text))
        assert log.columns == ("50 W a", "100 W a", "100 W b")

    def test_comment_lines_and_byte_order_mark(self, tmp_path):
        path = tmp_path / "probes.csv"
        path.write_bytes(b"\xef\xbb\xbf# logger 7\ntime_s,pan\n0,20\n1,x\n")
        with pytest.raises(ProbeLogError, match=r"probes\.csv:4: .*'x' is not a number"):
            read_probe_log(path)

    def test_type_k_in_a_heading_is_not_kelvin(self, tmp_path):
        time, pan, _ = _rows()
        log = read_probe_log(_log(tmp_path, _text(time, pan, header="time_s,pan (K)")))
        assert log.readings_c[0, 0] == 24.0


class TestTime:
    def test_missing(self, tmp_path):
        _refused(tmp_path, "pan,oil\n20,21\n22,23\n", "no time axis: no column time_s")

    @pytest.mark.parametrize("back", [0.0, -10.0])
    def test_not_rising(self, tmp_path, back):
        time, pan, oil = _rows()
        time[30] = time[29] + back
        _refused(tmp_path, _text(time, pan, oil), r"probes\.csv:32: time does not rise: ")

    def test_gap_is_noted_and_no_line_can_be_drawn_across(self, tmp_path):
        time, pan, oil = _rows()
        keep = (time < 20) | (time > 35)
        log = read_probe_log(_log(tmp_path, _text(time[keep], pan[keep], oil[keep])))
        assert "1 gaps in the log, the longest 17.0 s" in _notes(log)
        assert "19.0 to 36.0 s" in _notes(log)
        across = np.interp([21.0, 27.0, 34.0], log.time_s, log.readings_c[:, 0])
        assert np.isnan(across).all()
        assert np.interp(18.5, log.time_s, log.readings_c[:, 0]) == pytest.approx(51.75)

    def test_clock_of_24_hours_over_midnight(self, tmp_path):
        rows = ["23:59:58,20,20", "23:59:59,21,21", "00:00:00,22,22", "00:00:01,23,23"]
        log = read_probe_log(_log(tmp_path, "time,pan,oil\n" + "\n".join(rows)))
        assert log.time_s.tolist() == [86398.0, 86399.0, 86400.0, 86401.0]
        assert "24-hour clock, read as seconds since midnight; midnight passed 1" in _notes(log)

    def test_clock_of_12_hours_without_am_and_pm(self, tmp_path):
        rows = ["12:59:58,20", "12:59:59,21", "1:00:00,22", "1:00:01,23"]
        _refused(
            tmp_path,
            "time,pan\n" + "\n".join(rows),
            r"probes\.csv:4: '1:00:00' follows '12:59:59': a 12-hour clock without AM or PM",
        )

    def test_clock_of_12_hours_with_am_and_pm(self, tmp_path):
        rows = ["11:59:59 AM,20", "12:00:00 PM,21", "12:00:01 PM,22", "12:00:02 PM,23"]
        log = read_probe_log(_log(tmp_path, "time,pan\n" + "\n".join(rows)))
        assert log.time_s.tolist() == [43199.0, 43200.0, 43201.0, 43202.0]
        assert "12-hour clock with AM and PM" in _notes(log)
        later = ["12:59:59 PM,20", "1:00:00 PM,21", "1:00:01 PM,22"]
        log = read_probe_log(_log(tmp_path, "time,pan\n" + "\n".join(later)))
        assert log.time_s.tolist() == [46799.0, 46800.0, 46801.0]
        rows[2] = "12:59:59,22"
        _refused(tmp_path, "time,pan\n" + "\n".join(rows), "lacks the AM or PM")

    def test_minutes(self, tmp_path):
        _refused(tmp_path, "time (min),pan\n0,20\n1,21\n2,22", "counts min; allowed: seconds")

    def test_two_time_columns(self, tmp_path):
        _refused(tmp_path, "time_s,date,pan\n0,1,20\n1,1,21", "several time columns")


class TestNumbers:
    def test_decimal_commas_between_semicolons(self, tmp_path):
        text = "time_s;pan;oil\n0;23,5;24\n1;25,25;24,1\n2;27,0;24,2\n"
        log = read_probe_log(_log(tmp_path, text))
        assert log.readings_c[:, 0].tolist() == [23.5, 25.25, 27.0]
        assert "decimal commas, read as decimal points" in _notes(log)

    def test_decimal_commas_between_commas(self, tmp_path):
        text = "time_s,pan,oil\n0,23,5,24,1\n1,25,2,24,1\n"
        _refused(
            tmp_path, text, r"probes\.csv:2: 5 cells under 3 headings\. Decimal", RecordingError
        )

    def test_comma_that_may_be_thousands(self, tmp_path):
        text = "time_s;pan\n0;23,500\n1;24,125\n2;25,000\n"
        _refused(tmp_path, text, "may be a decimal comma or a thousands separator")

    def test_words(self, tmp_path):
        _refused(tmp_path, "time_s,pan\n0,20\n1,warm\n", r"probes\.csv:3: .*'warm' is not a number")

    def test_columns_of_different_lengths(self, tmp_path):
        text = "time_s,pan,oil\n" + "\n".join(
            f"{t},{20 + t},{20 + t if t < 12 else ''}" for t in range(20)
        )
        log = read_probe_log(_log(tmp_path, text))
        assert np.isnan(log.readings_c[12:, 1]).all()
        assert "columns of different lengths: oil ends after 12 of 20 rows" in _notes(log)

    def test_headings(self, tmp_path):
        _refused(tmp_path, "time_s,pan,pan\n0,1,2\n1,2,3", "without a heading of their own: pan")
        _refused(tmp_path, "time_s\n0\n1", "no probe column")

    def test_damaged_files(self, tmp_path):
        (tmp_path / "probes.csv").write_bytes(b"time_s,pan\n0,\xff\xfe20")
        with pytest.raises(FormatError, match="not text in UTF-8"):
            read_probe_log(tmp_path / "probes.csv")
        (tmp_path / "probes.xlsx").write_bytes(b"PK nothing")
        with pytest.raises(FormatError, match="not a workbook"):
            read_probe_log(tmp_path / "probes.xlsx")
        with pytest.raises(InputError, match="no such file"):
            read_probe_log(tmp_path / "none.csv")
        with pytest.raises(FormatError, match="at least one row"):
            read_probe_log(_log(tmp_path, "time_s,pan\n"))


class TestReadings:
    @pytest.mark.parametrize("word", ["1372.0", "OL", "open", "-9999", "inf", ""])
    def test_open_circuit_is_blank(self, tmp_path, word):
        rows = [f"{t},{20 + t},{20 + t}" for t in range(30)]
        rows[10] = f"10,{word},30"
        log = read_probe_log(_log(tmp_path, "time_s,pan,oil\n" + "\n".join(rows)))
        assert np.isnan(log.readings_c[10, 0])
        assert np.isfinite(np.delete(log.readings_c[:, 0], 10)).all()
        if word not in ("OL", "open", ""):
            assert "open circuit: 1 readings of 'pan'" in _notes(log)
            assert "10.0 s" in _notes(log)

    def test_open_circuit_throughout(self, tmp_path):
        text = "time_s,pan,oil\n" + "\n".join(f"{t},1372,{20 + t}" for t in range(9))
        _refused(tmp_path, text, "'pan' has no reading but 1372 C, an open circuit")

    def test_kelvin(self, tmp_path):
        time, pan, oil = _rows()
        _refused(tmp_path, _text(time, pan + 273.15, oil), r"'pan' begins at 297\.1.*kelvin, not C")

    def test_fahrenheit_heading(self, tmp_path):
        time, pan, _ = _rows()
        text = _text(time, pan * 1.8 + 32, header="time_s,pan (degF)")
        _refused(tmp_path, text, "'pan \\(degF\\)' declares F")

    def test_polarity_against_the_others(self, tmp_path):
        """Wires exchanged: the reading falls below the terminals as much as it should rise."""
        time, pan, oil = _rows(20)
        swapped = 2 * 24.0 - pan
        _refused(tmp_path, _text(time, swapped, oil), "'pan' falls from 24.0.*polarity swapped")

    def test_polarity_of_a_lone_probe(self, tmp_path):
        time, pan, _ = _rows(90)
        _refused(tmp_path, _text(time, 48.0 - pan, header="time_s,pan"), "polarity swapped")

    def test_food_may_be_frozen(self, tmp_path):
        time, pan, _ = _rows()
        path = _log(tmp_path, _text(time, pan, -18.0 + 0.1 * time))
        with pytest.raises(ProbeLogError, match="polarity"):
            read_probe_log(path)
        assert read_probe_log(path, may_be_cold=("oil",)).readings_c[0, 1] == -18.0

    def test_pan_that_cools_while_another_heats_is_no_fault(self, tmp_path):
        time, pan, _ = _rows()
        log = read_probe_log(_log(tmp_path, _text(time, pan, 180.0 - 1.5 * time)))
        assert not log.notes


class TestPotSet:
    def test_boil_up(self):
        """Times to 99 C of the repeats, stated with the data: from 14,670 s down to 1,980 s."""
        log = read_probe_log(POT / "one_litre_boil_up_ab.csv")
        assert log.columns[:2] == ("50W_a", "50W_b")
        assert "columns of different lengths" in _notes(log)
        want = [14670, 14110, 5350, 5360, 3450, 3410, 2480, 2470, 2010, 1980]
        with np.errstate(invalid="ignore"):
            got = [log.time_s[np.argmax(column >= 99.0)] for column in log.readings_c.T]
        assert got == want

    def test_calibration_sheet(self):
        """Spread at the start 1.9 K and at the end 1.5 K, stated with the data."""
        log = read_probe_log(POT / "Calibration.xlsx")
        assert log.readings_c.shape == (260, 10)
        assert log.column("T3 Ave.") == 2
        assert "first column has no heading" in _notes(log)
        assert np.ptp(log.readings_c[0]) == pytest.approx(1.93, abs=0.01)
        assert np.ptp(log.readings_c[-1]) == pytest.approx(1.54, abs=0.01)

    def test_common_temperature_offsets(self):
        """Only the settled ends count; while it heats the channels differ by over 4 K."""
        log = read_probe_log(POT / "Calibration.xlsx")
        kelvin = log.readings_c + 273.15
        offsets = common_temperature_offsets(kelvin, time_s=log.time_s)
        assert offsets.plateau_k - 273.15 == pytest.approx([23.6, 101.8], abs=0.15)
        assert np.max(np.abs(offsets.offset_k.sum(axis=1))) < 1e-9
        first = log.readings_c[0] - log.readings_c[0].mean()
        last = log.readings_c[-1] - log.readings_c[-1].mean()
        assert np.max(np.abs(offsets.offset_k[0] - first)) < 0.1
        assert np.max(np.abs(offsets.offset_k[1] - last)) < 0.1
        for at, plateau in ((0, 0), (len(kelvin) - 1, 1)):
            corrected = [
                kelvin[at, i] - offset_at_k(kelvin[at, i], offsets=offsets, probe=i)[0]
                for i in range(10)
            ]
            assert np.ptp(corrected) < 0.2, plateau
        _, calm = offset_at_k(296.7, offsets=offsets, probe=0)
        _, between = offset_at_k(335.0, offsets=offsets, probe=0)
        assert calm < 0.04 < between  # what lies between the plateaus was not measured

    def test_held_out_boil_spreads_by_under_0_3_k(self):
        """Offsets from the run's first part; the rest of its boil was not used."""
        log = read_probe_log(POT / "Calibration.xlsx")
        kelvin = log.readings_c + 273.15
        whole = common_temperature_offsets(kelvin, time_s=log.time_s)
        middle = whole.span_s[1].mean()
        early = log.time_s <= middle
        offsets = common_temperature_offsets(kelvin[early], time_s=log.time_s[early])
        boil = kelvin[~early]
        corrected = np.column_stack(
            [boil[:, i] - offset_at_k(boil[:, i], offsets=offsets, probe=i)[0] for i in range(10)]
        )
        assert len(boil) >= 10
        assert np.ptp(boil, axis=1).max() > 1.4
        assert np.ptp(corrected, axis=1).max() <= 0.3

    def test_offsets_need_a_settled_run(self):
        log = read_probe_log(POT / "Calibration.xlsx")
        heating = slice(30, 200)
        with pytest.raises(NotEnoughDataError, match="never had a common temperature"):
            common_temperature_offsets(log.readings_c[heating] + 273.15, time_s=log.time_s[heating])


class TestStuck:
    def test_a_stretch_is_blanked_and_noted_for_heated_columns_alone(self, tmp_path):
        time = np.arange(0.0, 600.0, 2.0)
        live = np.round(25.0 + 0.3 * time, 1)
        stuck = np.where((time > 200) & (time < 400), 65.0, live)
        room = np.full(time.size, 22.0)
        text = _text(time, live, stuck, room, header="time_s,pan,oil,room")
        log = read_probe_log(_log(tmp_path, text), must_move=("pan", "oil"))
        assert np.isnan(log.readings_c[(time > 202) & (time < 398), 1]).all()
        assert np.isfinite(log.readings_c[:, 2]).all()
        assert "stuck" in _notes(log)

    def test_throughout_is_refused(self, tmp_path):
        time = np.arange(0.0, 600.0, 2.0)
        text = _text(time, 25.0 + 0.2 * time, np.full(time.size, 31.0))
        with pytest.raises(ProbeLogError, match=r"'oil' reads 31 C throughout.*stuck"):
            read_probe_log(_log(tmp_path, text), must_move=("pan", "oil"))


class TestEvents:
    HEAD = "time_s,burner,event,value,note\n"

    def _read(self, folder, text):
        return read_events(_log(folder, self.HEAD + text, "events.csv"), burners=("left", "right"))

    def test_good(self, tmp_path):
        events, notes = self._read(
            tmp_path, "5,left,on,,\n6,left,level,0.6,high\n7,,person_out,,\n9,left,lid_on,,glass\n"
        )
        assert [event.event for event in events] == ["on", "level", "person_out", "lid_on"]
        assert events[1].value == "0.6"
        assert not notes

    def test_order(self, tmp_path):
        events, notes = self._read(tmp_path, "9,left,on,,\n5,left,pan_on,,\n")
        assert [event.time_s for event in events] == [5.0, 9.0]
        assert "not in order" in notes[0].what

    @pytest.mark.parametrize(
        ("row", "words"),
        [
            (
                "5,left,lid_of,,",
                r"events\.csv:2: event 'lid_of' .*did you mean 'lid_off'",
            ),
            ("5,lift,on,,", "burner 'lift' is not in the design; did you mean 'left'"),
            ("5,,on,,", "burner '' is not in the design"),
            (",left,on,,", "an event without time_s"),
            ("5,left,level,7,", "level '7'; allowed: the share of full power"),
            ("5,left,level,,", "level ''"),
        ],
    )
    def test_faults(self, tmp_path, row, words):
        with pytest.raises(RecordingError, match=words):
            self._read(tmp_path, row + "\n")

    def test_missing_column(self, tmp_path):
        path = _log(tmp_path, "time_s,event\n5,on\n", "events.csv")
        with pytest.raises(RecordingError, match="columns missing: burner"):
            read_events(path, burners=("left",))
