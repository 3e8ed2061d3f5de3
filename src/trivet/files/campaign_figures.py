"""Figures of a campaign's table: rates with exact bounds, spreads, cooks that failed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from trivet.files.campaign_table import column_of, connection
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.records.campaign import FailedCook, Rate, Spread, Sweep

SHOWN_FAILED = 10
_SPREADS = (
    ("P95 of the error", "K", "max(p95_error_k)", 0.95),
    ("largest error", "K", "max(max_error_k)", 0.95),
    ("share of heated moments with a reading", "-", "min(valid_frac)", 0.05),
)


def sweep_figures(table: Path, *, planned: int, alerts: Sequence[str]) -> Sweep:
    """Return the figures of a table.

    Parameters
    ----------
    table : Path
        Parquet, as a sweep writes it.
    planned : int
        Simulations of the whole campaign.
    alerts : sequence of str
        Names of the alerts that have a limit.

    Notes
    -----
    Simulations of one combination count as one independent cook, as bad as the
    worst of them: draws of one kitchen, pan and schedule are not new kitchens.
    """
    found = _Table(table)
    with closing(found.database):
        failing = "error is not null"
        rows, done, failed = found.one(
            "count(*), count(distinct cook), count(distinct cook) filter (where error is not null)"
        )
        first = found.all(
            f"select cook, min(error) from kept where {failing} group by cook, number"
            f" order by number limit {SHOWN_FAILED}"
        )
        return Sweep(
            table=table.name,
            evidence="simulated",
            planned=planned,
            done=done,
            rows=rows,
            failed=failed,
            first_failed=tuple(FailedCook(cook, error) for cook, error in first),
            rates=tuple(_rates(found, alerts)),
            spreads=tuple(_spreads(found)),
        )


class _Table:
    def __init__(self, path: Path):
        self.database = connection()
        self.database.from_parquet(str(path)).create_view("kept")

    def all(self, query: str) -> list[tuple[Any, ...]]:
        return self.database.execute(query).fetchall()

    def one(self, what: str) -> tuple[Any, ...]:
        return self.all(f"select {what} from kept")[0]


def _rates(table: _Table, alerts: Sequence[str]) -> Iterator[Rate]:
    counted = [
        ("cook that gave nothing", "cooks", "error is not null"),
        ("drawn 95 % interval without the truth", "cooks with a reading", "not drawn_covered"),
        ("wrong reading shown as right", "cooks judged", "wrong_reading"),
    ]
    for name in alerts:
        missed, nuisance = column_of("missed", name), column_of("nuisance", name)
        counted.append((f"{name}: missed", "cooks that reached its limit", missed))
        counted.append((f"{name}: nuisance", "cooks judged", nuisance))
    for name, of, condition in counted:
        failures, cooks = table.all(
            "select count(*) filter (where bad), count(*) from (select bool_or(bad) as bad from"
            f" (select combination, ({condition}) as bad from kept) where bad is not null"
            " group by combination)"
        )[0]
        if cooks:
            low, high = clopper_pearson(failures, cooks)
            yield Rate(name, of, failures, cooks, failures / cooks, low, high)


def _spreads(table: _Table) -> Iterator[Spread]:
    for name, unit, worst, share in _SPREADS:
        end = "max" if share > 0.5 else "min"
        cooks, median, tail, extreme = table.all(
            f"select count(x), quantile_disc(x, 0.5), quantile_disc(x, {share}), {end}(x) from"
            f" (select {worst} as x from kept group by combination)"
        )[0]
        if cooks:
            yield Spread(name, unit, cooks, median, tail, extreme)
