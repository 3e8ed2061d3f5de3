"""Reading design.toml: every fault at once, each with its line."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trivet.errors import DesignError, Fault, FormatError, InputError
from trivet.facts.parts import card, sensor_cards
from trivet.files.advice import advise
from trivet.files.design import read_design
from trivet.files.tomlfile import key_text, toml_lines

ROOT = Path(__file__).parents[2]
LARKPANE = ROOT / "examples" / "larkpane" / "design.toml"


def changed(folder: Path, *changes: tuple[str, str], more: str = "") -> Path:
    text = LARKPANE.read_text(encoding="utf-8")
    for old, new in changes:
        # "[[table]] ... key" names the first such key behind the first such table.
        table, _, key = old.rpartition(" ... ")
        start = text.index(table) if table else 0
        assert key in text[start:], f"the example no longer holds {old!r}"
        text = text[:start] + text[start:].replace(key, new, 1)
    path = folder / "design.toml"
    path.write_text(text + more, encoding="utf-8")
    return path


def faults(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(DesignError) as caught:
        read_design(path)
    return caught.value.faults


def line(path: Path, text: str) -> int:
    lines = path.read_text(encoding="utf-8").splitlines()
    return next(at for at, one in enumerate(lines, 1) if text in one)


def test_the_example_reads_in_si() -> None:
    design = read_design(LARKPANE)
    assert design.heads[0].mount.height_m == pytest.approx(0.70)
    assert design.bands[0].low_k == pytest.approx(355.3722222)  # 180 degF
    assert design.display.readout_step_delta_k == pytest.approx(4 * 5 / 9)  # a difference
    assert design.card(design.heads[0]) == card("thermopile-32x24-55")
    smoke = design.limit("oil-smoke").value_k
    assert (smoke.low, smoke.high) == (pytest.approx(477.15), pytest.approx(527.15))
    assert read_design(LARKPANE.parent) == design


def test_all_faults_are_reported_at_once(tmp_path: Path) -> None:
    path = changed(
        tmp_path,
        ('[heads.mount] ... height = "0.70 m"', 'hieght = "0.70 m"'),
        ('u95_bound = "25 K"', 'u95_bound = "25 m"'),
        ('ambient = { value = "23 degC"', 'ambient = { value = "12 degC"'),
        ('pans = ["steel-skillet"]', 'pans = ["steel-skilet"]'),
        ('sensor = "thermopile-32x24-55"', 'sensor = "thermopile-32x24-50"'),
        ('[[burners]] ... x = "200 mm"', 'x = "-190 mm"'),
        ('id = "R2"', 'id = "R1"'),
        ('priority = "low"', 'priority = "lowest"'),
    )
    found = {fault.key: fault for fault in faults(path)}
    assert set(found) >= {
        "heads[0].mount.hieght",
        "heads[0].mount.height",
        "estimation.u95_bound",
        "surroundings.ambient",
        "requirements[6].pans[0]",
        "heads[0].sensor",
        "burners[1]",
        "requirements[1].id",
        "alerts[5].priority",
    }
    unknown = found["heads[0].mount.hieght"]
    assert unknown.line == line(path, "hieght")
    assert unknown.allowed == "did you mean 'height'?"
    assert "required" in found["heads[0].mount.height"].allowed
    assert found["estimation.u95_bound"].line == line(path, 'u95_bound = "25 m"')
    assert "'25 m'" in found["estimation.u95_bound"].found
    assert "'steel-skillet'" in found["requirements[6].pans[0]"].allowed
    assert "thermopile-32x24-55" in found["heads[0].sensor"].allowed
    assert found["surroundings.ambient"].line == line(path, "12 degC")
    assert "'front-left'" in found["burners[1]"].found
    assert "'high'" in found["alerts[5].priority"].allowed


SENSOR = """
[[sensors]]
name = "odd"
technology = "thermopile"
rows = 24
cols = 32
fov_h = "180 deg"
fov_v = "75 deg"
frame_rate = "4 Hz"
netd = "0.2 K"
range_low = "300 degC"
range_high = "200 degC"
source = "made up for a test"
"""


@pytest.mark.parametrize(
    ("changes", "more", "key", "says"),
    [
        (
            [('[heads.mount] ... height = "0.70 m"', 'height = "-0.1 m"')],
            "",
            "heads[0].mount.height",
            "outside",
        ),
        (
            [('[[burners]] ... x = "200 mm"', 'x = "350 mm"')],
            "",
            "burners[1].x",
            "beyond the cooktop",
        ),
        ([], SENSOR, "sensors[0].fov_h", "rectilinear"),
        ([], SENSOR, "sensors[0].range_low", "not below"),
        ([('low = "325 degF"', 'low = "350 degF"')], "", "bands[1].low", "not below"),
        ([('diameter = "240 mm"', 'diameter = "2.4 m"')], "", "pans[1].diameter", "cooktop"),
        ([('thickness = "2.6 mm"', 'thickness = "26 cm"')], "", "pans[2].thickness", "depth"),
        ([('material = "aluminium"', 'material = "alumium"')], "", "pans[1].material", "library"),
        ([('finish = "ptfe-non-stick"', 'finish = "ptfe"')], "", "pans[1].finish", "library"),
        ([('surface = "gas-grate"', 'surface = "grate"')], "", "cooktop.surface", "library"),
        ([('name = "back-left"', 'name = "front-left"')], "", "burners[2].name", "already"),
        ([('limit = "pan-limit"', 'limit = "pan"')], "", "alerts[0].limit", "not defined"),
        (
            [('[[bands]] ... bases = ["water"]', 'bases = ["watr"]')],
            "",
            "bands[0].bases[0]",
            "not defined",
        ),
        ([('alert = "smoke-soon"', 'alert = "smoke"')], "", "requirements[8].alert", "not defined"),
        ([('metric = "rim_in_view"', 'metric = "rim"')], "", "requirements[0].metric", "metric"),
        ([('limit = "8"', 'limit = "8 m"')], "", "requirements[1].limit", "number"),
        ([('freight = "2.50 USD"', 'freight = "2.50 EUR"')], "", "costs.freight", "USD"),
        ([('volume = "5 mL"', 'volume = "0 mL"')], "", "bases[1].volume", "no volume"),
        ([('contents = "dry"', 'contents = "dry"\nvolume = "1 L"')], "", "bases[0].volume", "dry"),
        ([("seed = 20260905", 'seed = "x"')], "", "project.seed", "'x'"),
        ([('low = "0.82"', 'low = "0.95"')], "", "heads[0].window.transmittance", "does not hold"),
        ([('low = "0.82"', 'lwo = "0.82"')], "", "heads[0].window.transmittance", "'lwo'"),
        ([("min_pixels = 10", "min_pixels = 0")], "", "estimation.min_pixels", "0"),
        (
            [('altitude = { value = "150 m"', "altitude = { value = 150")],
            "",
            "surroundings.altitude",
            "bare number",
        ),
    ],
)
def test_one_fault(
    tmp_path: Path, changes: list[tuple[str, str]], more: str, key: str, says: str
) -> None:
    path = changed(tmp_path, *changes, more=more)
    found = {fault.key: fault for fault in faults(path)}
    assert key in found, list(map(str, found.values()))
    assert says in str(found[key])
    assert found[key].line is not None
    assert found[key].line > 1


def test_a_requirement_that_needs_an_alert(tmp_path: Path) -> None:
    path = changed(tmp_path, ('limit = "60 s"\nalert = "smoke-soon"', 'limit = "60 s"'))
    assert [fault.key for fault in faults(path)] == ["requirements[8]"]


def test_syntax_and_format(tmp_path: Path) -> None:
    path = changed(tmp_path, ('name = "Larkpane"', "name = Larkpane"))
    with pytest.raises(FormatError, match=rf"design.toml:{line(path, '= Larkpane')}: not valid"):
        read_design(path)
    with pytest.raises(FormatError, match=r"format = 7 is not known.* reads format = 1"):
        read_design(changed(tmp_path, ("format = 1", "format = 7")))
    path.write_bytes(b"format = 1\nname = '\xff'\n")
    with pytest.raises(FormatError, match="UTF-8"):
        read_design(path)
    with pytest.raises(InputError, match="cannot be read"):
        read_design(tmp_path / "none.toml")
    path.write_text("", encoding="utf-8")
    missing = {fault.key for fault in faults(path)}
    assert {"format", "project", "cooktop", "burners", "costs"} <= missing


def test_junk_never_escapes_as_another_error(tmp_path: Path) -> None:
    path = tmp_path / "design.toml"
    for junk in (
        "burners = 3",
        "burners = [1, 2]",
        "heads = [{sensor = 4}]",
        "pans = {a = 1}",
        "requirements = [{pans = [[1]]}]",
        "[cooktop]\nsurface = 3",
        "costs = 'x'",
    ):
        path.write_text(f"format = 1\n{junk}\n", encoding="utf-8")
        assert faults(path)


def test_lines_inside_arrays_and_inline_tables() -> None:
    text = (
        "a = 1\n[b.'c d']\n# no = 1\ne = [\n  1,\n  { f = 'x # y', g = [2,\n 3] },\n]\n"
        '[[t]]\nk.l = 2\n[[t]]\nm = """\nx = 1\n"""\n[t.u]\nv = 1.5e3\n[[t.w]]\nz = 1\n'
    )
    lines = toml_lines(text)
    assert tomllib.loads(text)["t"][1]["w"][0]["z"] == 1
    expected = {
        ("a",): 1, ("b", "c d"): 2, ("b", "c d", "e"): 4, ("b", "c d", "e", 0): 5,
        ("b", "c d", "e", 1, "f"): 6, ("b", "c d", "e", 1, "g", 1): 7, ("t", 0, "k", "l"): 10,
        ("t", 1, "m"): 12, ("t", 1, "u", "v"): 16, ("t", 1, "w", 0, "z"): 18,
    }  # fmt: skip
    assert {path: lines.get(path) for path in expected} == expected


def paths(value: object, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    found = {path}
    if isinstance(value, dict):
        for key, one in value.items():
            found |= paths(one, (*path, key))
    if isinstance(value, list):
        for at, one in enumerate(value):
            found |= paths(one, (*path, at))
    return found


@pytest.mark.parametrize("name", ["design.toml", "cooks.toml"])
def test_every_key_of_the_examples_has_its_line(name: str) -> None:
    text = (LARKPANE.parent / name).read_text(encoding="utf-8")
    lines = toml_lines(text)
    rows = text.splitlines()
    for path in paths(tomllib.loads(text)):
        assert path in lines, key_text(path)
        if path and isinstance(path[-1], str):
            assert path[-1] in rows[lines[path] - 1]


KEYS = st.text(alphabet="abc- _#.'\"[]=é", min_size=1, max_size=6)
VALUES = st.recursive(
    st.one_of(
        st.integers(),
        st.booleans(),
        st.text(alphabet="ab #'\"\n[]{}=,é", max_size=8),
        st.floats(allow_nan=False),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, min_size=1, max_size=3)
    ),
    max_leaves=8,
)


@given(st.dictionaries(KEYS, VALUES, max_size=4))
def test_any_document_has_lines_for_all_its_keys(content: dict[str, object]) -> None:
    import tomlkit

    text = tomlkit.dumps(content)
    lines = toml_lines(text)
    assert paths(tomllib.loads(text)) == set(lines)
    assert all(1 <= one <= text.count("\n") + 1 for one in lines.values())


def test_advice_on_the_example() -> None:
    says = " ".join(note.what for note in advise(read_design(LARKPANE)))
    assert "'pan-limit' at 371 °C lies above the range" in says
    assert "sees the middle" not in says  # the centres lie inside; the rims do not


def test_advice_on_an_unwise_design(tmp_path: Path) -> None:
    path = changed(
        tmp_path,
        ('[[burners]] ... y = "130 mm"', 'y = "195 mm"'),
        ('[heads.mount] ... height = "0.70 m"', 'height = "0.5 m"'),
        ('name = "smoking" ... limit = "oil-smoke"', 'set_point = "395 degC"\nlimit = "oil-smoke"'),
        ('kind = "loss_of_sight"', 'kind = "time_to_limit"\nlimit = "oil-smoke"'),
        ('channels = ["base_contents", "pan", "target_band", "oil"]', "channels = []"),
        ('evidence = "bench"\nsafety = true', 'evidence = "simulated"\nsafety = true'),
        ('high = "30 K"', 'high = "60 K"'),
    )
    notes = advise(read_design(path))
    says = "\n".join(f"{note.where}: {note.what}" for note in notes)
    for part in (
        "burners[2]: no head sees the middle of burner 'back-left'",
        "above its limit 'oil-smoke'",
        "no alert says that the product cannot see",
        "told.channels",
        "accepts simulated evidence",
        "battery.temperature_limit",
    ):
        assert part in says


def test_sensor_cards_state_what_is_known() -> None:
    cards = sensor_cards()
    assert cards["thermopile-32x24-55"].range_high_k == pytest.approx(573.15)
    assert cards["thermopile-8x8-60"].range_high_k == pytest.approx(353.15)
    assert cards["thermopile-80x64-wide"].accuracy_delta_k is None  # unknown, never 0
    assert all(one.source for one in cards.values())
    with pytest.raises(InputError, match="did you mean thermopile-32x24-55"):
        card("thermopile-32x24-5")
