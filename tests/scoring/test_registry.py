"""The registry: every metric is documented, the page is what it says, and one place is enough."""

from __future__ import annotations

from pathlib import Path

import pytest

from trivet.scoring.registry import METRICS, REQUIRABLE, ROOMS, metric, metrics_page

PAGE = Path(__file__).parents[2] / "docs" / "metrics.md"


def test_the_page_is_what_the_registry_gives() -> None:
    assert PAGE.read_text(encoding="utf-8") == metrics_page(), "run 'make docs'"


@pytest.mark.parametrize("room", ROOMS)
def test_every_metric_has_its_documentation(room: str) -> None:
    assert METRICS[room]
    for one in METRICS[room].values():
        assert len(one.meaning.split()) > 1, one.name
        assert not one.meaning.startswith("return")
        assert one.joined or room not in ("cook", "check"), one.name


def test_a_metric_without_documentation_or_with_a_taken_name_is_refused() -> None:
    def bare() -> None:
        pass

    def told() -> None:
        """Something."""

    with pytest.raises(ValueError, match="no documentation"):
        metric("cook", "bare", "time", "lower")(bare)
    with pytest.raises(ValueError, match="name taken"):
        metric("cook", "lead_time", "time", "lower")(told)
    with pytest.raises(ValueError, match="unknown room"):
        metric("attic", "told", "time", "lower")(told)


def test_a_metric_added_in_one_place_can_be_asked_for_and_stands_on_the_page() -> None:
    @metric("cook", "told", "time", "lower", joined="quantile")
    def told() -> None:
        """Time that nobody needs."""

    try:
        assert REQUIRABLE["told"].meaning == "time that nobody needs"
        assert "| `told` | time | lower | time that nobody needs |" in metrics_page()
    finally:
        del METRICS["cook"]["told"]
