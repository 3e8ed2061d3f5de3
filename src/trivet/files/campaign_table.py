"""The table of a campaign: rows of each cook, one parquet file of all, and the figures of it."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trivet.errors import InputError, StorageError
from trivet.files.atomic import storage_error, write_text
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.records.campaign import FailedCook, Rate, Spread, Sweep, SweepCook, column_of
from trivet.scoring.registry import METRICS

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection


Rows = Sequence[Mapping[str, Any]]
TABLE_FILE = "sweep.parquet"
LABELS = {
    "number": "BIGINT",
    "cook": "VARCHAR",
    "burner": "VARCHAR",
    "combination": "VARCHAR",
    "matrix": "VARCHAR",
    "worst_case": "VARCHAR",
    "seed_name": "VARCHAR",
    "repeat": "BIGINT",
    "seed": "BIGINT",
    "evidence": "VARCHAR",
    "purpose": "VARCHAR",
    "unit": "VARCHAR",
    "pan": "VARCHAR",
    "base": "VARCHAR",
}
"""Columns that say which cook and burner a row is of."""
ENDED = {"stopped": "VARCHAR", "simulated_s": "DOUBLE"}
"""Columns that say how a cook ended; the registered metrics follow."""
_TYPES = {"count": "BIGINT", "yes or no": "BOOLEAN"}


def table_columns(
    *, factors: Iterable[str], limits: Iterable[str], alerts: Iterable[str]
) -> dict[str, str]:
    """Return the columns of a campaign's table with their types, in order."""
    columns = LABELS | {column_of("factor", name): "VARCHAR" for name in factors} | ENDED
    columns |= {name: _TYPES.get(one.unit, "DOUBLE") for name, one in METRICS["burner"].items()}
    for room, names in (("limit", limits), ("limit-alert", alerts)):
        for about in names:
            columns |= {
                column_of(name, about): _TYPES.get(one.unit, "DOUBLE")
                for name, one in METRICS[room].items()
            }
    return {**columns, "error": "VARCHAR"}


def cook_file(folder: Path, cook: SweepCook) -> Path:
    """Return where the rows of a cook lie: under the hash of all that it is."""
    labels = [cook.repeat, cook.combination, cook.matrix, cook.levels, cook.seed, cook.worst]
    text = cook.plan.model_dump_json() + json.dumps(labels, sort_keys=True)
    key = hashlib.sha256(text.encode()).hexdigest()[:32]
    return folder / "cooks" / key[:2] / f"{key}.jsonl"


def write_rows(path: Path, rows: Rows) -> None:
    """Write the rows of one cook, whole or not at all."""
    write_text(path, "".join(json.dumps(dict(row), allow_nan=False) + "\n" for row in rows))


def require_duckdb() -> None:
    """Refuse at once where DuckDB is missing.

    Raises
    ------
    InputError
        If the extra ``stats`` is not installed.
    """
    if find_spec("duckdb") is None:
        raise InputError(
            "a sweep writes its table with DuckDB, of the extra 'stats': "
            "pip install 'trivet[stats]'"
        )


def connection() -> DuckDBPyConnection:
    """Return a database in memory that reaches for nothing outside."""
    import duckdb

    return duckdb.connect(config={"autoinstall_known_extensions": False, "threads": 1})


def write_table(
    folder: Path, *, cooks: Iterable[tuple[Path, Rows | None]], columns: Mapping[str, str]
) -> Path:
    """Write the parquet table of all cooks that are done, and return its path.

    Parameters
    ----------
    folder : Path
        Of the campaign.
    cooks : iterable of (Path, rows or None)
        In the order of the table: the file of each cook's rows, or its rows where
        they are not kept.  A cook without either is not done and left out.
    columns : mapping
        Names and types.

    Raises
    ------
    StorageError
        If the disk is full or a file is damaged; an earlier table stays.
    """
    target = folder / TABLE_FILE
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".table-", dir=folder) as name:
            lines, made = Path(name) / "rows.jsonl", Path(name) / TABLE_FILE
            _gather(lines, cooks)
            _convert(lines, made, columns)
            with made.open("rb") as handle:
                os.fsync(handle.fileno())
            os.replace(made, target)
    except OSError as fault:
        raise storage_error(target, fault) from fault
    return target


def _gather(target: Path, cooks: Iterable[tuple[Path, Rows | None]]) -> None:
    with target.open("w", encoding="utf-8") as out:
        for number, (path, kept) in enumerate(cooks):
            rows = kept
            if rows is None and path.exists():
                try:
                    rows = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
                except ValueError as error:
                    raise StorageError(
                        f"{path}: damaged ({error}); remove it and run the sweep again"
                    ) from error
            for row in rows or ():
                out.write(json.dumps({"number": number, **row}) + "\n")


def _convert(lines: Path, made: Path, columns: Mapping[str, str]) -> None:
    import duckdb

    typed = ", ".join(f"'{name}': '{kind}'" for name, kind in columns.items())
    source = f"read_json('{_quoted(lines)}', format='newline_delimited', columns={{{typed}}})"
    query = f"copy (select * from {source}) to '{_quoted(made)}' (format parquet)"
    try:
        with closing(connection()) as database:
            database.execute(query)
    except duckdb.Error as error:
        raise StorageError(f"{made.parent}: the table cannot be written: {error}") from error


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")


SHOWN_FAILED = 10  # own estimate: as many as a reader looks at
_SPREADS = (
    ("P95 of the error", "K", "max(p95_error_k)", 0.95),
    ("largest error", "K", "max(max_error_k)", 0.95),
    ("share of heated moments with a reading", "-", "min(valid_frac)", 0.05),
)
"""Name, unit, worst of a combination, and the tail told: the 95 % that the requirements use."""


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
