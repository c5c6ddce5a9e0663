"""Modules stay small enough to be read: aim at 200 lines, review at 400, never over 600."""

from __future__ import annotations

import ast

import pytest

from tests.contract.house import PACKAGE, short, tracked_files, tree_of

REVIEW_LINES = 400
MOST_LINES = 600

# Modules over 400 lines that were reviewed and may stay, each with the reason.
REVIEWED: dict[str, str] = {
    "tests/physics/test_conventions.py": "one table of sensor against input kinds, read as a whole",
}


def lines_of_modules() -> dict[str, int]:
    return {
        short(path): len(path.read_text(encoding="utf-8").splitlines())
        for path in tracked_files()
        if path.suffix == ".py"
    }


def test_no_module_is_over_600_lines():
    long = {name: count for name, count in lines_of_modules().items() if count > MOST_LINES}
    assert not long, f"split these: {long}"


def test_modules_over_400_lines_have_a_reason():
    lines = lines_of_modules()
    long = {name: count for name, count in lines.items() if count > REVIEW_LINES}
    unreviewed = {name: count for name, count in long.items() if name not in REVIEWED}
    assert not unreviewed, f"split these, or name them in REVIEWED with a reason: {unreviewed}"
    stale = set(REVIEWED) - set(long)
    assert not stale, f"no longer over {REVIEW_LINES} lines, take out of REVIEWED: {stale}"
    assert all(len(reason.split()) >= 5 for reason in REVIEWED.values())


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("__init__.py")), ids=short)
def test_package_files_only_re_export(path):
    allowed = (ast.Import, ast.ImportFrom, ast.Expr, ast.Assign, ast.AnnAssign)
    odd = [node.lineno for node in tree_of(path).body if not isinstance(node, allowed)]
    assert not odd, f"{short(path)} does more than re-export, lines {odd}"
    assigned = [
        target.id
        for node in tree_of(path).body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    ]
    assert set(assigned) <= {"__all__", "__version__"}
