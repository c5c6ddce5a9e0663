"""One state of the cell file on disk and all that was reckoned of it, each thing once."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from ringout.base import Diagnostic
from ringout.cell.model import Cell
from ringout.cell.resolve import resolve_cell
from ringout.cellfile import Mapping, parse_cell_text, parse_tree
from ringout.cellfile.write import EditError, SetValue, rewrite
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import Fault, single_faults
from ringout.circuit.model import Circuit
from ringout.findings.effects import Watched, watch
from ringout.findings.judge import judge
from ringout.findings.model import Judgement
from ringout.run import Loaded
from ringout.solve import solve_cases
from ringout.web.jobs import Job, Jobs, Progress

_T = TypeVar("_T")
KEPT_VARIANTS = 24  # of one cell, compiled
KEPT_VIEWS = 400  # solved states and views, small ones


class Shelf:
    """Keeps the last results by key; each is made once."""

    def __init__(self, room: int) -> None:
        self.room = room
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = threading.RLock()

    def get(self, key: Hashable, make: Callable[[], _T]) -> _T:
        """Return what is kept under a key, made when it is not there."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
            else:
                self._kept[key] = make()
                while len(self._kept) > self.room:
                    self._kept.popitem(last=False)
            found: _T = self._kept[key]
            return found


class Variant:
    """The cell with some parts replaced and some core ends taken off, compiled.

    Args:
        cell: the cell with the other parts.
        lifted: core ends taken off.
    """

    def __init__(self, cell: Cell, lifted: tuple[str, ...]) -> None:
        self.cell = cell
        self.circuit: Circuit = compile_circuit(cell, lifted=lifted)

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """Return every single fault of the cell."""
        return single_faults(self.circuit)

    @cached_property
    def start_v(self) -> NDArray[np.float64]:
        """Return (N,) voltages at rest, from which other states are found sooner."""
        circuit = self.circuit
        rest = circuit.curves(circuit.rest())
        found: NDArray[np.float64] = np.nan_to_num(solve_cases(circuit.network, rest).node_v[0])
        return found

    @cached_property
    def watched(self) -> list[Watched]:
        """Return the signals and loads that show what happens."""
        return watch(self.circuit)


class Snapshot:
    """One state of the file on disk and all that follows from it.

    Args:
        loaded: the cell file as read.
        key: digest of all files the cell is made of.
    """

    def __init__(self, loaded: Loaded, key: str) -> None:
        self.key = key
        self.loaded = loaded
        self.shelf = Shelf(KEPT_VIEWS)
        self._variants = Shelf(KEPT_VARIANTS)
        self.jobs = Jobs()

    @property
    def cell(self) -> Cell | None:
        """Return the cell, or None when nothing could be made of the file."""
        return self.loaded.cell

    @cached_property
    def judgement(self) -> Judgement | None:
        """Return the judgement without cures: that is quick."""
        return judge(self.cell) if self.cell is not None else None

    @property
    def cures(self) -> Job:
        """Return the work that solves the cures of all findings; its result is a `Judgement`."""
        return self.jobs.get("cures", self._cure)

    def drop(self) -> None:
        """Stop what is still being worked on: the file has changed."""
        self.jobs.drop()

    def _cure(self, progress: Progress) -> Judgement:
        from ringout.findings.remedies import with_remedies

        found = self.judgement
        assert self.cell is not None
        assert found is not None
        return with_remedies(self.cell, found, progress)

    def variant(
        self, parts: tuple[tuple[str, str], ...] = (), lifted: tuple[str, ...] = ()
    ) -> tuple[Variant | None, tuple[Diagnostic, ...]]:
        """Return the cell with other parts and core ends taken off, and what is wrong with it.

        Args:
            parts: (item, part name) that is fitted instead.
            lifted: core ends taken off, known to exist.
        """
        return self._variants.get((parts, lifted), lambda: self._variant(parts, lifted))

    def _variant(
        self, parts: tuple[tuple[str, str], ...], lifted: tuple[str, ...]
    ) -> tuple[Variant | None, tuple[Diagnostic, ...]]:
        cell = self.cell
        problems: tuple[Diagnostic, ...] = ()
        if parts:
            cell, problems = self._with_parts(parts)
        return (Variant(cell, lifted) if cell is not None else None), problems

    def _with_parts(
        self, parts: tuple[tuple[str, str], ...]
    ) -> tuple[Cell | None, tuple[Diagnostic, ...]]:
        assert self.cell is not None
        text = Path(self.loaded.path).read_text("utf-8", errors="replace")
        try:
            for item, part in parts:
                text = rewrite(text, [replaced_part(text, item, part)])
        except EditError:
            return None, ()
        made, problems = parse_cell_text(text, self.loaded.path)
        if made is None:
            return None, problems
        cell, more = resolve_cell(made, folder=self.cell.folder)
        known = {(p.code, p.message) for p in self.loaded.problems}
        fresh = tuple(p for p in (*problems, *more) if (p.code, p.message) not in known)
        return cell, fresh


def replaced_part(text: str, item: str, part: str) -> SetValue:
    """Return the edit that gives an item another part, however its line is written."""
    root, _ = parse_tree(text, "")
    items = root.get("items") if root is not None else None
    line = items.get(item) if isinstance(items, Mapping) else None
    inner = ("items", item, "part") if isinstance(line, Mapping) else ("items", item)
    return SetValue(inner, part)
