"""Every figure names where it is from, and every source named is in the list."""

from __future__ import annotations

import ast
import csv
import re
import tomllib

import pytest

from tests.contract.house import PACKAGE, modules, short, tree_of

# A figure that no document gives says so in these words.
HONEST = ("common practice", "memory")
# A docstring's section: its line, and the indented lines below it.
SECTION = re.compile(r"^Sources?:(.*(?:\n[ \t]+\S.*)*)", re.MULTILINE)


def sources() -> dict[str, object]:
    """Return the list of sources: its entries by key."""
    found = sorted((PACKAGE / "tables").rglob("sources.toml"))
    assert len(found) == 1, f"one sources.toml is wanted, found {len(found)}"
    table = tomllib.loads(found[0].read_text(encoding="utf-8"))
    nested = table.get("source", table.get("sources"))
    return nested if isinstance(nested, dict) else table


def is_known(named: str, known: dict[str, object]) -> bool:
    """Return whether a source cell names only keys of the list, or says honestly that it cannot.

    Several sources are set apart by `;`; a key may be followed by the place in the document.
    """
    each = [part.strip().strip("\"'[") for part in named.split(";")]
    return all(
        part.startswith(HONEST) or (part and re.split(r"[\s,\]]", part)[0] in known)
        for part in each
    )


def docstring_sources() -> list[tuple[str, str]]:
    """Return (place, text) of every `Source:` section in the package's docstrings."""
    kinds = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    return [
        (f"{short(path)}:{getattr(node, 'name', 'module')}", section)
        for path in modules()
        for node in ast.walk(tree_of(path))
        if isinstance(node, kinds)
        for section in SECTION.findall(ast.get_docstring(node) or "")
    ]


def test_sources_say_what_they_are():
    known = sources()
    assert known
    for key, entry in known.items():
        assert re.fullmatch(r"[a-z0-9][a-z0-9.-]*", key), key
        text = entry if isinstance(entry, str) else " ".join(map(str, entry.values()))
        assert len(text.split()) >= 3, f"{key} says too little"


def test_docstring_sources_resolve():
    known = sources()
    unknown = []
    for place, section in docstring_sources():
        keys = re.findall(r"\[([^\]\s]+)\]", section)
        honest = any(words in section for words in HONEST)
        first = section.split()[0].strip("[],.;:") if section.split() else ""
        if not keys and not honest and first not in known:
            unknown.append(f"{place}: {section.strip()!r}")
        unknown += [f"{place}: {key}" for key in keys if key not in known]
    assert not unknown


def tables() -> list:
    return sorted((PACKAGE / "tables").rglob("*.csv"))


def test_every_table_row_names_a_known_source():
    known, unknown = sources(), []
    assert tables(), "no tables"
    for path in tables():
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
        assert rows, f"{short(path)} is empty"
        assert "source" in rows[0], f"{short(path)} has no column `source`: {list(rows[0])}"
        cells = [(number, row["source"] or "") for number, row in enumerate(rows, 1)]
        unknown += [(short(path), n, text) for n, text in cells if not is_known(text, known)]
    assert not unknown, f"table, row and source: {unknown}"


def test_every_shipped_part_names_a_known_source():
    known = sources()
    parts = sorted((PACKAGE / "cell" / "library").rglob("*.yaml"))
    assert len(parts) >= 60, "at least 60 generic parts are wanted"
    unknown = []
    for path in parts:
        text = path.read_text(encoding="utf-8")
        named = re.findall(r"(?:^|[{,\s])source:\s*([^,}\n#]+)", text)
        if not named:
            unknown.append(f"{short(path)}: none")
        unknown += [f"{short(path)}: {name}" for name in named if not is_known(name, known)]
    assert not unknown


@pytest.mark.parametrize(
    ("named", "verdict"),
    [
        ("iec-1", True),
        ("iec-1 table 8", True),
        ("[iec-1], clause 4", True),
        ("common practice", True),
        ("memory", True),
        ("iec-1; memory", True),
        ("iec-1; iec-2", False),
        ("", False),
        ("hearsay", False),
        ("iec-2", False),
    ],
)
def test_the_check_itself_tells_known_from_unknown(named, verdict):
    assert is_known(named, {"iec-1": {}}) is verdict
