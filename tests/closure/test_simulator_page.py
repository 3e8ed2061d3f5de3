"""The checks of the simulator hold, and the page says what they give today."""

from __future__ import annotations

import pytest
from tests.closure.checks.page import PAGE, figure_text, page_figures, page_text
from tests.closure.checks.registry import all_checks, limits_text

CHECKS = all_checks()
MARKED = [
    pytest.param(one, marks=[pytest.mark.slow] if one.slow else [], id=one.name) for one in CHECKS
]


@pytest.fixture(scope="module")
def page() -> str:
    return PAGE.read_text("utf-8")


def test_every_row_of_the_page_is_a_check_of_today(page: str) -> None:
    """Names, limits, sources, conditions, verdicts and introduction; figures come below."""
    figures = page_figures(page)
    assert list(figures) == [one.name for one in CHECKS], "run 'make docs'"
    assert page_text(figures) == page, "run 'make docs'"


@pytest.mark.parametrize("check", MARKED)
def test_the_figure_is_within_its_limit_and_on_the_page(check, page: str) -> None:
    value = check.measure()
    if check.kind == "held":
        assert check.agrees(value), f"{value:g} {check.unit}, to be {limits_text(check)}"
    elif not check.agrees(value):
        assert check.why, "a figure that disagrees says why"
    shown = page_figures(page)[check.name]
    assert check.same(shown, value), f"the page has {shown:g}, now {value:g}: run 'make docs'"
    assert check.agrees(shown) == check.agrees(value), "run 'make docs'"


def test_the_page_can_tell_two_figures_apart(page: str) -> None:
    """A page with another figure or limit is not taken for this one."""
    first = CHECKS[0]
    figures = page_figures(page)
    assert not first.same(figures[first.name] + 0.2 * first.high, figures[first.name])
    assert page_text(figures | {first.name: 2 * first.high}) != page
    assert figure_text(float("inf")) == "never"
