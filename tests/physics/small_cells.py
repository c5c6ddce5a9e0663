"""Small cells in a few lines: the supply, its two rails and `P` and `M` for places on them."""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Sequence
from pathlib import Path

from ringout import run
from ringout.base import Severity
from ringout.findings.model import Finding, Judgement, SignalResult

RAIL = 16  # terminals of each rail block


def _lines(block: str) -> list[str]:
    return [line for line in textwrap.dedent(block).strip("\n").split("\n") if line.strip()]


def _indented(lines: Sequence[str], prefix: str = "  ") -> str:
    return "".join(f"{prefix}{line}\n" for line in lines)


def small_cell(
    items: str,
    joins: str,
    signals: str = "",
    *,
    cables: str = "",
    supply: str = "supply-24v-5a",
    more: str = "",
) -> str:
    """Return the text of a cell.

    Args:
        items: item lines beside the supply T1 and its rail blocks X91 (+24 V) and X92 (0 V).
        joins: join lines; the word `P` is the next free place on +24 V, `M` on 0 V.
        signals: signal lines.
        cables: cable lines.
        supply: part of T1; empty for a cell that brings its own supply and rails.
        more: further sections as they stand.
    """
    places = {"P": itertools.count(2), "M": itertools.count(2)}
    blocks = {"P": "X91", "M": "X92"}
    wires = ["T1:+  X91:1", "T1:-  X92:1"] if supply else []
    for line in _lines(joins):
        words = [f"{blocks[w]}:{next(places[w])}" if w in blocks else w for w in line.split()]
        wires.append("  ".join(words))
    own = (
        [f"T1: {supply}", f"X91: terminal-block-{RAIL}", f"X92: terminal-block-{RAIL}"]
        if supply
        else []
    )
    text = "cell: A small cell\nambient: 10..40 °C\n"
    text += "items:\n" + _indented([*own, *_lines(items)])
    if cables:
        text += "cables:\n" + _indented(_lines(cables))
    text += "joins:\n" + _indented(wires, "  - ")
    if signals:
        text += "signals:\n" + _indented(_lines(signals))
    return text + textwrap.dedent(more)


class Verdict:
    """What the product says of a cell, in the words tests use."""

    def __init__(self, path: Path, *, remedies: bool = False) -> None:
        loaded, judgement = run.prove(str(path), remedies=remedies)
        self.problems = loaded.problems
        assert not loaded.broken, [(p.code, str(p.span), p.message, p.fix) for p in self.problems]
        assert judgement is not None
        self.judgement: Judgement = judgement
        # Kirchhoff: issue demands 1 nA on every solution in every test
        assert judgement.worst_residual_a <= 1e-9

    @property
    def codes(self) -> list[str]:
        """Return the codes of everything that is more than a note, most serious first."""
        return [f.code for f in self.judgement.findings if f.severity is not Severity.NOTE]

    def finding(self, code: str) -> Finding:
        found = [f for f in self.judgement.findings if f.code == code]
        assert len(found) == 1, f"{code} given {len(found)} times; all: {self.told()}"
        return found[0]

    def told(self) -> list[str]:
        return [f"{f.code} {f.message}" for f in self.judgement.findings]

    def signal(self, name: str) -> SignalResult:
        return next(s for s in self.judgement.signals if s.name == name)

    def works(self, name: str) -> None:
        """Check that a signal works, proven, and that nothing at all is found wrong."""
        signal = self.signal(name)
        assert signal.verdict == "works", (signal, self.told())
        assert signal.on is not None and signal.on.proven
        assert signal.off is not None and signal.off.proven
        assert self.codes == [], self.told()
        assert self.judgement.not_run == ()


class Bench:
    """Writes small cells into a folder and proves them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.count = itertools.count(1)

    def part(self, name: str, text: str) -> None:
        """Put a user part beside the cells."""
        parts = self.folder / "parts"
        parts.mkdir(exist_ok=True)
        (parts / f"{name}.yaml").write_text(textwrap.dedent(text), encoding="utf-8")

    def text(self, text: str, *, remedies: bool = False) -> Verdict:
        path = self.folder / f"cell{next(self.count)}.yaml"
        path.write_text(text, encoding="utf-8")
        return Verdict(path, remedies=remedies)

    def cell(
        self,
        items: str,
        joins: str,
        signals: str = "",
        *,
        cables: str = "",
        supply: str = "supply-24v-5a",
        more: str = "",
        remedies: bool = False,
    ) -> Verdict:
        text = small_cell(items, joins, signals, cables=cables, supply=supply, more=more)
        return self.text(text, remedies=remedies)


def proven(finding: Finding) -> list[str]:
    """Return the text of every remedy that was solved again and cures."""
    return [r.text for r in finding.remedies if r.proven]
