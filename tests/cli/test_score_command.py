"""``trivet score`` and ``trivet reporters``: what they print, and what they refuse."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

ROOT = Path(__file__).parents[2]
NAN = float("nan")
COOKS = """
format = 1
[[cooks]]
name = "hot"
purpose = "proof"
duration = "30 s"
[[cooks.burners]]
burner = "front-right"
pan = "nonstick-pan"
base = "dry"
schedule = [{ at = "0 s", level = "100 %" }]
"""


def test_the_commands(tmp_path: Path, trivet) -> None:
    shutil.copy(ROOT / "examples" / "larkpane" / "design.toml", tmp_path)
    (tmp_path / "cooks.toml").write_text(COOKS, encoding="utf-8")
    done = trivet("score", str(tmp_path), "--pictures", str(tmp_path / "p"), "--json")
    assert done.returncode == 1  # one cook meets nothing
    record = json.loads(done.stdout)
    assert "sheets" in json.dumps(record)
    pictures = " ".join(sorted(one.name for one in (tmp_path / "p").glob("*.svg")))
    for words in ("error-against", "do-the-95-intervals", "what-is-said-of-bare-pans"):
        assert words in pictures
    assert trivet("score", str(tmp_path), "--mismatch").returncode == 2
    bad = trivet("score", str(tmp_path), "--cooks", "2", "--seed", "A B")
    assert bad.returncode == 2
    assert "cannot name" in bad.stderr
    ranked = trivet("reporters", str(tmp_path))
    assert ranked.returncode == 0
    assert "area-mean" in ranked.stdout
