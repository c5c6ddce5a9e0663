"""Read the tables of reference data, one CSV file each, and the list of their sources.

A column whose name ends in a unit (`_v`, `_ma`, `_mm2`, `_x` for a multiple, `_count`) holds
numbers, every other column holds words; an empty cell means "not stated".
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

DATA = Path(__file__).parent / "data"
# Endings of column names that hold numbers.
UNITS: tuple[str, ...] = (
    "_v", "_a", "_ma", "_ohm", "_ohm_per_km", "_ohm_per_kft", "_ohm_mm2_per_km", "_per_k",
    "_s", "_ms", "_us", "_hz", "_m", "_mm", "_mm2", "_nm", "_c", "_w", "_va", "_x", "_count",
    "_ratio", "_deg", "_pct", "_rgb", "_pin_circle",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: numbers by column where the name ends in a unit, else words."""

    table: str
    cells: Mapping[str, float | str | None]

    def number(self, column: str) -> float:
        """Return a number that must be there."""
        value = self._cell(column)
        if not isinstance(value, float):
            raise TypeError(f"{self.table}.{column} holds {value!r}, not a number")
        return value

    def maybe(self, column: str) -> float | None:
        """Return a number, or None where the cell is empty."""
        return None if self._cell(column) is None else self.number(column)

    def text(self, column: str) -> str:
        """Return the words of a column."""
        value = self._cell(column)
        if not isinstance(value, str):
            raise TypeError(f"{self.table}.{column} holds {value!r}, not words")
        return value

    @property
    def sources(self) -> tuple[str, ...]:
        """Return the source keys of the row."""
        return tuple(self.text("source").split(";"))

    def _cell(self, column: str) -> float | str | None:
        if column not in self.cells:
            raise KeyError(_unknown("column", column, self.cells))
        return self.cells[column]


@dataclass(frozen=True, slots=True)
class Source:
    """Where a figure comes from.

    Args:
        key: word that tables, parts and findings cite.
        title: what it is, without a maker's name.
        kind: standard, handbook, maker document, worked example, common practice or memory.
        seen: True when the figure was read in print, False when it rests on memory.
        note: what to know before relying on it.
    """

    key: str
    title: str
    kind: str
    seen: bool
    note: str


# What a figure cites that no document gives.
HONEST: tuple[Source, ...] = (
    Source("common practice", "Habit of the trade", "common practice", False,
           "No single document; the figure is what most people use."),
    Source("memory", "Memory", "memory", False,
           "Not looked up; compare with a document before it decides anything."),
)  # fmt: skip


@cache
def read_table(name: str) -> tuple[Row, ...]:
    """Return all rows of a table in the order of the file.

    Args:
        name: file name without `.csv`, such as `input_limits`.

    Returns:
        The rows; read once and kept.

    Raises:
        KeyError: no such table; the message names the nearest one.
    """
    path = DATA / f"{name}.csv"
    if name not in table_names():
        raise KeyError(_unknown("table", name, table_names()))
    with path.open(encoding="utf-8", newline="") as file:
        return tuple(_row(name, line) for line in csv.DictReader(file, strict=True))


@cache
def table_names() -> tuple[str, ...]:
    """Return the names of all tables."""
    return tuple(sorted(path.stem for path in DATA.glob("*.csv")))


def find_row(name: str, **wanted: float | str) -> Row:
    """Return the first row whose columns hold the wanted values.

    Args:
        name: table.
        wanted: column and value.

    Returns:
        The row.

    Raises:
        KeyError: no row holds them; the message names the nearest value.
    """
    for row in read_table(name):
        if all(row.cells[column] == value for column, value in wanted.items()):
            return row
    column, value = next(iter(wanted.items()))
    known = dict.fromkeys(str(row.cells[column]) for row in read_table(name))
    raise KeyError(_unknown(f"row of {name} with {column}", str(value), known))


@cache
def sources() -> Mapping[str, Source]:
    """Return all sources by key, the words `common practice` and `memory` among them."""
    with (DATA / "sources.toml").open("rb") as file:
        found = tomllib.load(file)
    listed = {
        key: Source(key, facts["title"], facts["kind"], facts["seen"], facts["note"])
        for key, facts in found.items()
    }
    return MappingProxyType({words.key: words for words in HONEST} | listed)


def source(key: str) -> Source:
    """Return one source.

    Args:
        key: as cited, such as `iec-61131-2`.

    Returns:
        The source.

    Raises:
        KeyError: no such key; the message names the nearest one.
    """
    if key not in sources():
        raise KeyError(_unknown("source", key, sources()))
    return sources()[key]


def columns_with_unit(columns: Collection[str]) -> Iterator[str]:
    """Yield the columns that hold numbers."""
    return (column for column in columns if column.endswith(UNITS))


def _row(table: str, line: dict[str, str]) -> Row:
    numeric = set(columns_with_unit(line))
    cells: dict[str, float | str | None] = {}
    for column, text in line.items():
        if column in numeric:
            cells[column] = float(text) if text else None
        else:
            cells[column] = text
    return Row(table, MappingProxyType(cells))


def _unknown(what: str, name: str, known: Collection[str]) -> str:
    import difflib

    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    hint = f"; did you mean {near[0]}?" if near else ""
    return f"no {what} {name}{hint}"
