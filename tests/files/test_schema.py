"""The schemas accept the examples, refuse what the reader refuses, and the pages list every key."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from trivet.errors import InputError, StorageError
from trivet.files.cooks import read_cooks
from trivet.files.design import read_design
from trivet.files.newproject import new_project, scenarios
from trivet.files.schema import key_tables, schema_text

ROOT = Path(__file__).parents[2]
LARKPANE = ROOT / "examples" / "larkpane"


def checked(name: str, content: dict[str, Any]) -> list[str]:
    schema = json.loads(schema_text(name))
    jsonschema.Draft202012Validator.check_schema(schema)
    return [error.message for error in jsonschema.Draft202012Validator(schema).iter_errors(content)]


@pytest.mark.parametrize("name", ["design", "cooks"])
def test_the_examples_pass(name: str) -> None:
    content = tomllib.loads((LARKPANE / f"{name}.toml").read_text(encoding="utf-8"))
    assert checked(name, content) == []


def test_a_bare_number_or_an_unknown_key_does_not() -> None:
    content = tomllib.loads((LARKPANE / "design.toml").read_text(encoding="utf-8"))
    content["cooktop"]["width"] = 760
    content["cooktop"]["colour"] = "black"
    assert len(checked("design", content)) == 2


def test_defaults_are_texts_as_a_file_writes_them() -> None:
    schema = json.loads(schema_text("design"))
    assert schema["$defs"]["Mount"]["properties"]["position_tolerance"]["default"] == "5 mm"
    assert schema["properties"]["heating_rates"]["default"][0] == "1 K/s"
    assert schema["properties"]["surroundings"]["default"]["housing_rise"] == "10 K"


def test_the_bench_example_passes(tmp_path: Path) -> None:
    project = new_project(tmp_path / "lark")
    readme = (project / "bench" / "README.md").read_text(encoding="utf-8")
    sheet = tomllib.loads(readme.split("```toml\n")[1].split("```")[0])
    assert checked("cook", sheet) == []
    sheet["told"]["front-left"] = {"base_contents": "oil", "shape": "round"}
    assert len(checked("cook", sheet)) == 1


def test_a_new_project_reads_and_names_its_schemas(tmp_path: Path) -> None:
    project = new_project(tmp_path / "deep" / "lark", scenario="larkpane")
    read_cooks(project, read_design(project))
    for name in ("design", "cooks"):
        text = (project / f"{name}.toml").read_text(encoding="utf-8")
        assert text.startswith(f"#:schema ./{name}.schema.json\n")
        assert (project / f"{name}.schema.json").read_text(encoding="utf-8") == schema_text(name)
    assert [path.name for path in project.parent.iterdir()] == ["lark"]


def test_a_new_project_harms_nothing(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="not empty"):
        new_project(tmp_path)
    with pytest.raises(InputError, match=r"no scenario 'nope'; known: .*larkpane"):
        new_project(tmp_path / "new", scenario="nope")
    with pytest.raises(InputError, match="not empty"):
        new_project(tmp_path / "mine.txt")
    with pytest.raises(StorageError, match="cannot be made"):
        new_project(tmp_path / "mine.txt" / "below")
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
    assert "larkpane" in scenarios()


@pytest.mark.parametrize("name", ["design", "cooks"])
def test_the_page_lists_every_key(name: str) -> None:
    page = (ROOT / "docs" / "formats" / f"{name}.md").read_text(encoding="utf-8")
    kept = page.split("<!-- keys -->\n")[1].split("<!-- end of keys -->")[0]
    assert kept == key_tables(name), (
        f"docs/formats/{name}.md is not what trivet.files.schema.key_tables({name!r}) gives"
    )


@pytest.mark.parametrize("name", ["design", "cooks"])
def test_every_key_has_a_meaning(name: str) -> None:
    rows = [line for line in key_tables(name).splitlines() if line.startswith("| `")]
    assert len(rows) > 10
    assert not [row for row in rows if row.rstrip(" |").endswith("|")]
