"""Worked examples through the product: a cell from text, its judgement, its readings."""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path

from ringout import run
from ringout.base import Interval
from ringout.base.quantity import parse_quantity
from ringout.base.span import Span
from ringout.cell.model import Cell, Terminal
from ringout.findings.meter import Reading
from ringout.findings.model import BranchLoad, Finding, Judgement, Remedy, SignalResult

PARTS = Path(__file__).with_name("parts")
NOWHERE = Span("", 0, 0)


class Bench:
    """A folder with the parts of the worked examples, where cells are laid out from text.

    Args:
        folder: an empty folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        shutil.copytree(PARTS, folder / "parts", dirs_exist_ok=True)
        self.cells = 0

    def cable(self, name: str, area: str, cores: int = 2) -> None:
        """Add a class 5 cable whose cores 1, 2, ... have this section."""
        words = ", ".join(f"{n}: {area}" for n in range(1, cores + 1))
        text = (
            f"part: {name}\nfamily: cable\nsource: memory\ncores: {{{words}}}\n"
            f"facts: {{class: 5, plating: plain}}\n"
        )
        (self.folder / "parts" / f"{name}.yaml").write_text(text, encoding="utf-8")

    def file(self, text: str) -> str:
        """Write a cell file and return its path; the text begins after the line `cell:`."""
        self.cells += 1
        path = self.folder / f"cell-{self.cells}.yaml"
        path.write_text(f"cell: worked example\n{text}", encoding="utf-8")
        return str(path)

    def load(self, text: str) -> Cell:
        """Return the cell; it must be without fault as a file."""
        loaded = run.load(self.file(text))
        assert loaded.cell is not None
        assert not loaded.problems, [(p.code, p.message) for p in loaded.problems]
        return loaded.cell

    def prove(self, text: str, *, remedies: bool = False) -> Judgement:
        """Judge the cell; its file must be without fault and every check must run."""
        loaded, judgement = run.prove(self.file(text), remedies=remedies)
        assert not loaded.problems, [(p.code, p.message) for p in loaded.problems]
        assert judgement is not None
        assert not judgement.not_run
        return judgement


def read(
    cell: Cell,
    a: str,
    b: str,
    state: Mapping[str, str] | None = None,
    *,
    lifted: Sequence[str] = (),
    mode: str = "volts",
) -> Reading:
    """Return what the meter shows between two places, written as `K1:I` or `W1:1@K1`."""
    return run.meter(cell, _place(a), _place(b), state=state, lifted=lifted, mode=mode)


def _place(word: str) -> Terminal | str:
    if "@" in word:
        return word
    item, pin = word.split(":")
    return Terminal(item, "", pin)


def signal(judgement: Judgement, name: str) -> SignalResult:
    """Return one signal."""
    return next(s for s in judgement.signals if s.name == name)


def finding(judgement: Judgement, code: str) -> Finding:
    """Return the one finding with this code."""
    found = [f for f in judgement.findings if f.code == code]
    assert len(found) == 1, f"{code} {len(found)} times among {codes(judgement)}"
    return found[0]


def codes(judgement: Judgement) -> set[str]:
    """Return the codes of all findings."""
    return {f.code for f in judgement.findings}


def number(found: Finding, name: str) -> float:
    """Return one figure of a finding."""
    return next(q.value for q in found.numbers if q.name == name)


def branch(judgement: Judgement, name: str) -> BranchLoad:
    """Return the load of one branch."""
    return next(b for b in judgement.branches if b.name == name)


def proposed_resistor(remedies: Sequence[Remedy]) -> tuple[float, float]:
    """Return ohms and watts of the resistor the first proven remedy fits across an input."""
    for remedy in remedies:
        fitted = re.search(r"resistor of ([\d.]+ [kM]?Ω), ([\d.]+) W", remedy.text)
        if remedy.proven and fitted:
            assert "across the input" in remedy.text
            assert "not across the sensor" in remedy.text
            ohm = parse_quantity(fitted[1], "ohms", NOWHERE)
            assert isinstance(ohm, Interval)
            return ohm.typ, float(fitted[2])
    raise AssertionError([r.text for r in remedies])
