"""Field cases FC-O-21 to FC-O-41: what is told of each cell, read in it, and what cures it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cells.field.case import (
    FIELD,
    Case,
    check_absent,
    check_finding,
    check_head,
    check_level,
    check_reading,
    check_remedy,
    check_seen,
    judged,
)

NAMES = sorted(p.name for p in FIELD.iterdir() if p.is_dir() and "c21" <= p.name[:3] <= "c41")
CASES = {name: Case(name) for name in NAMES}


def entries(key: str) -> list[Any]:
    """Return every entry of a list of all cases as a test parameter."""
    return [
        pytest.param(name, entry, id=f"{name[:3]}-{number}")
        for name, case in CASES.items()
        if case.served
        for number, entry in enumerate(case.many(key))
    ]


def test_every_case_is_here_and_served_or_says_why_not() -> None:
    assert [c.data["id"] for c in CASES.values()] == [f"FC-O-{n}" for n in range(21, 42)]
    assert sum(c.served for c in CASES.values()) >= 18  # 34 of 41 in all


@pytest.mark.parametrize("name", NAMES)
def test_the_cell_loads_and_its_faults_are_in_the_table(name: str) -> None:
    case = CASES[name]
    # FC-O-36 is unsettled, but what it shows needs another part: no fault of the table is one
    if name[:3] != "c36":
        check_head(case)
    case.cell()
    named: list[Any] = [f for key in ("truth", "candidates", "excluded") for f in case.many(key)]
    for fault in named:
        case.fault(fault)
    right = {case.fault(str(f)).id for f in case.many("truth")}
    assert not right & {case.fault(str(f)).id for f in case.many("excluded")}


@pytest.mark.parametrize(("name", "entry"), entries("readings"))
def test_a_reading_is_reproduced(name: str, entry: dict[str, Any]) -> None:
    check_reading(CASES[name], entry)


@pytest.mark.parametrize(("name", "entry"), entries("seen"))
def test_what_is_seen_is_reproduced(name: str, entry: dict[str, Any]) -> None:
    check_seen(CASES[name], entry)


@pytest.mark.parametrize(("name", "entry"), entries("findings"))
def test_prove_tells_it(name: str, entry: dict[str, Any]) -> None:
    check_finding(judged(CASES[name].path()), entry)


@pytest.mark.parametrize(("name", "entry"), entries("levels"))
def test_a_level_is_judged(name: str, entry: dict[str, Any]) -> None:
    check_level(judged(CASES[name].path()), entry)


@pytest.mark.parametrize("name", [n for n, c in CASES.items() if c.many("absent")])
def test_nothing_else_is_told(name: str) -> None:
    codes: list[Any] = CASES[name].many("absent")
    check_absent(judged(CASES[name].path()), codes)


@pytest.mark.parametrize(("name", "entry"), entries("remedies"))
def test_a_remedy_works_or_fails_as_it_must(
    name: str, entry: dict[str, Any], tmp_path: Path
) -> None:
    check_remedy(CASES[name], entry, tmp_path)
