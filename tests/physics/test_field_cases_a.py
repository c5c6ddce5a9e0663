"""Field cases FC-O-01 to FC-O-20: cells as found or as drawn, their figures, remedies, faults."""

from __future__ import annotations

from typing import Any

import pytest

from ringout import run
from ringout.base import Severity
from tests.cells.field import case as fc

CASES = sorted(p.parent.name for p in fc.FIELD.glob("c[01]*/case.toml")) + sorted(
    p.parent.name for p in fc.FIELD.glob("c20_*/case.toml")
)


def parts_of(key: str) -> list[Any]:
    """Return (case, entry) of every entry of a list in every served case."""
    out = []
    for name in CASES:
        case = fc.Case(name)
        for n, entry in enumerate(case.many(key) if case.served else []):
            out.append(pytest.param(case, entry, id=f"{name[:3]}-{n}"))
    return out


@pytest.fixture(params=CASES, ids=[n[:3] for n in CASES])
def case(request):
    return fc.Case(request.param)


def test_every_case_has_a_folder():
    assert [name[:3] for name in CASES] == [f"c{n:02d}" for n in range(1, 21)]


def test_head(case):
    fc.check_head(case)


def test_cell_is_without_error(case):
    if case.served:
        problems = run.load(case.path()).problems
        assert not [p.message for p in problems if p.severity is Severity.ERROR]


def test_faults_exist(case):
    for name in (*case.many("truth"), *case.many("candidates"), *case.many("excluded")):
        case.fault(name)


def test_absent(case):
    if case.many("absent"):
        fc.check_absent(fc.judged(case.path()), case.many("absent"))


@pytest.mark.parametrize(("case", "entry"), parts_of("readings"))
def test_reading(case, entry):
    fc.check_reading(case, entry)


@pytest.mark.parametrize(("case", "entry"), parts_of("seen"))
def test_seen(case, entry):
    fc.check_seen(case, entry)


@pytest.mark.parametrize(("case", "entry"), parts_of("findings"))
def test_finding(case, entry):
    fc.check_finding(fc.judged(case.path()), entry)


@pytest.mark.parametrize(("case", "entry"), parts_of("levels"))
def test_level(case, entry):
    fc.check_level(fc.judged(case.path()), entry)


@pytest.mark.parametrize(("case", "entry"), parts_of("remedies"))
def test_remedy(case, entry, tmp_path):
    fc.check_remedy(case, entry, tmp_path)
