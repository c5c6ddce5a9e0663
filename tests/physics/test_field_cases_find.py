"""Field cases: what `find` says to their observations, and what splits the suspects."""

from __future__ import annotations

import pytest

from tests.cells.field.case import FIELD, Case, check_found, check_split, found_in

CASES = {p.parent.name[:3]: Case(p.parent.name) for p in sorted(FIELD.glob("c*/case.toml"))}
TOLD = [n for n, c in CASES.items() if c.served and c.many("observations")]
SPLITS = [
    pytest.param(name, number, id=f"{name}-{number}")
    for name in TOLD
    for number, _ in enumerate(CASES[name].many("splits"))
]


def test_at_least_34_of_the_41_cases_are_served():
    assert len(CASES) == 41
    assert sum(c.served for c in CASES.values()) >= 34


@pytest.mark.parametrize("name", TOLD)
def test_the_cause_is_among_the_first_three(name):
    case = CASES[name]
    check_found(case, found_in(case))


@pytest.mark.parametrize(("name", "number"), SPLITS)
def test_the_measurement_splits_the_suspects(name, number):
    case = CASES[name]
    split = case.many("splits")[number]
    check_split(case, split, found_in(case), found_in(case, split["sentence"]))
