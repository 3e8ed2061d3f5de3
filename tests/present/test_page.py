"""The report room, on a small dossier made here: one page, and the terminal's tables."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from trivet.present import render_html
from trivet.present.figures import chart_svg
from trivet.present.numbers import Scale
from trivet.present.page import tied
from trivet.records.design import Display
from trivet.records.dossier import (
    Chart,
    ChartLine,
    Circle,
    Claim,
    Dossier,
    Mark,
    PlanView,
    Section,
    Span,
    Table,
)

HOSTILE = '<script>alert("x")</script> & $x_{1}$ --> {{ 7 * 7 }}'
CELSIUS, FAHRENHEIT = Display(), Display(temperature="degF", length="in")


def trace(title: str = "Cook one") -> Chart:
    time_s = np.arange(0.0, 60.0)
    value_k = np.where((time_s > 20) & (time_s < 30), np.nan, 300.0 + 2 * time_s)
    ends = np.array([0.0, 59.0])
    return Chart(
        "trace",
        title,
        "A reading in 85 % of 60 moments; withheld: steam 9 s.",
        lines=(
            ChartLine("reported", time_s, value_k, value_k - 8, value_k + 8),
            ChartLine("truth", time_s, 301.0 + 2 * time_s, style="truth"),
            ChartLine("limit smoke", ends, np.full(2, 400.0), style="limit"),
            ChartLine("limit far", ends, np.full(2, 644.0), style="limit"),
        ),
        marks=(Mark(40.0, "smoke on"),),
        spans=(Span(21.0, 30.0, "steam", "gap"), Span(40.0, 59.0, "smoke", "alert")),
        evidence="simulated",
    )


def make(**changes: object) -> Dossier:
    square = np.array([[-0.3, -0.2], [0.3, -0.2], [0.3, 0.2], [-0.3, 0.2]])
    plan = PlanView(
        0.76,
        0.53,
        (
            Circle(0.2, 0.1, 0.1, "B1", "burner"),
            Circle(0.2, 0.1, 0.26, "skillet", "pan"),
            Circle(0.0, 0.0, 0.02, "hood", "head"),
        ),
        (("hood", square),),
        (("skillet", square / 10 + 0.2),),
    )
    bars = (("emissivity", 4.0, "skillet"), ("window", math.nan, "skillet"))
    charts = (
        Chart("plan", "Plan", "To scale.", plan=plan, evidence="predicted"),
        Chart("budget", "Budget", "Terms.", bars=bars, totals=(("95 %", 9.0, "skillet"),)),
        trace(),
        Chart("battery", "Energy", "Shares.", bars=(("measure", 0.97, ""),)),
        Chart(
            "cash",
            "Cash",
            "By month.",
            x_label="month",
            y_label="USD",
            lines=(ChartLine("cash", np.arange(3.0), np.array([-3e5, -2e5, 1e4])),),
            marks=(Mark(0.0, "trough"),),
        ),
        Chart(
            "error",
            "Errors",
            "Limits of agreement.",
            lines=(
                ChartLine("oil", np.zeros(1), np.array([1.0]), np.array([-4.0]), np.array([6.0])),
                ChartLine(
                    "dry", np.ones(1), np.array([1.0]), np.array([math.nan]), np.array([6.0])
                ),
            ),
        ),
    )
    table = Table(
        "Evidence",
        ("Requirement", "Cooks failed", "Reading", "Decision"),
        (
            ("R1", "0 of 20 (≤ 13.9 % at 95 %)", "no reading", "not proven"),
            ("R2", "0 of 59 (≤ 4.95 % at 95 %)", "180 °C", "met"),
        ),
        evidence="simulated",
    )
    given = {
        "title": "Testpane",
        "subtitle": "made up",
        "invented": True,
        "summary": "Of 2 requirements, 1 met and 1 not proven.",
        "claims": (
            Claim("R1", "alerts come", "not proven", "simulation alone", "≤ 5 %", "simulated"),
            Claim("R2", "readings fit", "met", "fits", "≤ 10 K", "simulated"),
            Claim("R3", "rim in view", "not met", "cut", "≥ 100 %", "predicted"),
        ),
        "sections": (Section("Proof", ("Words.",), (table,), charts),),
        "cautions": ("It certifies nothing.",),
        "hashes": (("design", "ab" * 32),),
    }
    return Dossier(**(given | changes))  # type: ignore[arg-type]


class Page(HTMLParser):
    """Collects what a browser would load, link to and announce."""

    def __init__(self, html: str):
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


@pytest.fixture(scope="module")
def html() -> str:
    return render_html(make(), display=CELSIUS)


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return Page(html)


def test_page_requests_nothing(html: str, page: Page) -> None:
    for tag, attrs in page.tags:
        assert tag not in {"script", "link", "iframe", "object", "embed", "base"}
        for name in ("src", "href", "xlink:href", "data", "action", "poster"):
            assert (attrs.get(name) or "#").startswith("#"), (tag, attrs)
        assert not any(name.startswith("on") for name in attrs)
    spaces = {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert set(re.findall(r'https?://[^"\s<]+', html)) <= spaces
    assert "@import" not in html
    assert not re.search(r"url\((?!#)", html)


def test_links_and_references_lead_somewhere_once(page: Page) -> None:
    names = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(names) == len(set(names))
    for _, attrs in page.tags:
        target = attrs.get("href")
        if target:
            assert target[1:] in names


def test_same_dossier_same_bytes(html: str) -> None:
    assert render_html(make(), display=CELSIUS) == html
    assert not re.search(r"20\d\d-\d\d-\d\d", html)


def test_verdict_comes_first_with_every_requirement(html: str, page: Page) -> None:
    heads = re.findall(r"<h2[^>]*>(?:<span[^>]*>[^<]*</span>)?([^<]*)</h2>", html)
    assert heads == ["Verdict", "Contents", "Proof", "Cautions", "Provenance"]
    for name in ("R1", "R2", "R3"):
        assert html.index(f">{name}<") < html.index('id="part-1"')


def test_decisions_differ_in_shape_and_word(html: str) -> None:
    marks = re.findall(r'<span class="decision ([a-z-]+)"><svg[^>]*>(.*?)</svg>([^<]+)', html)
    shapes = {name: (shape, word) for name, shape, word in marks}
    assert {word for _, word in shapes.values()} == {"met", "not met", "not proven"}
    assert len({shape for shape, _ in shapes.values()}) == 3


def test_bound_stands_beside_each_rate_and_missing_is_said(html: str) -> None:
    assert "0 of 20 (≤\u00a013.9\u00a0% at 95\u00a0%)" in html
    assert re.search(r'<td class="[^"]*missing">no reading</td>', html)


def test_hostile_texts_stay_texts() -> None:
    bad = trace(HOSTILE)
    bad = replace(
        bad,
        caption=HOSTILE,
        lines=tuple(replace(line, label=f"_{HOSTILE}") for line in bad.lines),
        spans=tuple(replace(span, label=HOSTILE) for span in bad.spans),
    )
    table = Table(HOSTILE, (HOSTILE, "b"), ((HOSTILE, HOSTILE),), HOSTILE)
    html = render_html(
        make(
            title=HOSTILE,
            subtitle=HOSTILE,
            summary=HOSTILE,
            claims=(Claim(HOSTILE, HOSTILE, "met", HOSTILE),),
            sections=(Section(HOSTILE, (HOSTILE,), (table,), (bad,)),),
            cautions=(HOSTILE,),
            hashes=((HOSTILE, HOSTILE),),
        ),
        display=CELSIUS,
    )
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert "{{ 7 * 7 }}" in html
    assert not Page(html).all("script")


def test_odd_letters_and_long_names_do_not_warn() -> None:
    odd = replace(trace(), lines=(ChartLine("鍋 " * 60, np.arange(2.0), np.array([300.0, 301.0])),))
    assert "<svg" in chart_svg(odd, display=CELSIUS, key="k")


def test_pictures_and_tables_are_accessible(page: Page) -> None:
    pictures = [svg for svg in page.all("svg") if svg.get("aria-hidden") != "true"]
    assert len(pictures) == 6
    assert all(svg.get("role") == "img" and svg.get("aria-label") for svg in pictures)
    assert all(head.get("scope") in {"col", "row"} for head in page.all("th"))
    assert page.all("html")[0]["lang"] == "en"
    assert page.all("meta")[1]["name"] == "viewport"


def test_simulated_is_written_in_the_picture_and_beside_it(html: str) -> None:
    figure = re.search(r"<figure>(?:(?!</figure>).)*Cook one.*?</figure>", html, re.DOTALL)
    assert figure is not None
    assert "SIMULATED" in figure.group()
    assert "simulated, within the simulator" in figure.group()
    caption = re.search(r"<caption>Evidence (.*?)</caption>", html)
    assert caption is not None
    assert "within the simulator" in caption.group(1)


def test_invented_scenario_is_announced() -> None:
    assert "INVENTED SCENARIO" in render_html(make(), display=CELSIUS)
    assert "INVENTED SCENARIO" not in render_html(make(invented=False), display=CELSIUS)


def test_gap_is_drawn_as_a_gap_with_its_reason() -> None:
    svg = chart_svg(trace(), display=CELSIUS, key="k")
    assert "no reading: steam" in svg
    assert "alert: smoke" in svg
    assert "above the chart: limit far at 371 °C" in svg
    whole = replace(trace(), lines=(ChartLine("reported", np.arange(3.0), np.full(3, np.nan)),))
    assert "no reading in the whole cook" in chart_svg(whole, display=CELSIUS, key="k")


def test_fahrenheit_moves_temperatures_and_scales_differences() -> None:
    scale = Scale(FAHRENHEIT)
    # 100 C is 212 F; a difference of 10 K is 18 Fahrenheit degrees; 25.4 mm is one inch
    assert scale.temperature(373.15) == pytest.approx(212.0)
    assert scale.difference(10.0) == pytest.approx(18.0)
    assert scale.length(0.0254) == pytest.approx(1.0)
    svg = chart_svg(trace(), display=FAHRENHEIT, key="k")
    assert "temperature / °F" in svg
    assert "limit far at 700 °F" in svg  # 644 K is 699.5 °F
    budget = make().sections[0].charts[1]
    assert ">16.2<" in chart_svg(budget, display=FAHRENHEIT, key="k")  # 9.0 K


def test_numbers_stay_with_their_units() -> None:
    assert tied("≤ 13.9 % within 60 s") == "≤\u00a013.9\u00a0% within 60\u00a0s"
    assert tied("20 moments, 5 months") == "20 moments, 5 months"
