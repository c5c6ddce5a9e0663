"""The only composer of stages: file to cell, to circuit, to judgement; nothing is done twice."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from ringout.base import Diagnostic, Severity
from ringout.cell.model import Cell, Terminal
from ringout.cell.resolve import resolve_cell
from ringout.cellfile import read_cell_text
from ringout.circuit.compile import compile_circuit
from ringout.circuit.model import HIGH, LOW, TYP
from ringout.circuit.network import dump_text
from ringout.findings.judge import judge
from ringout.findings.meter import Reading, read_meter
from ringout.findings.model import Judgement
from ringout.findings.remedies import with_remedies
from ringout.findings.settle import settle_states
from ringout.solve import solve_cases

if TYPE_CHECKING:  # the fault model is loaded only when it is asked for
    from ringout.checkout import Checkout
    from ringout.circuit.faults import Fault
    from ringout.find import Finder
    from ringout.findings.effects import FaultTable

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Loaded:
    """A cell file read as far as it goes.

    Args:
        path: the file.
        cell: the resolved cell; None when nothing could be made of the file.
        problems: everything wrong with it, in file order.
    """

    path: str
    cell: Cell | None
    problems: tuple[Diagnostic, ...]

    @property
    def broken(self) -> bool:
        """Return whether some statement could not be used."""
        return any(p.severity is Severity.ERROR for p in self.problems)


def load(path: str) -> Loaded:
    """Read and resolve a cell file; user text never raises."""
    text, problems = read_cell_text(path)
    if text is None:
        return Loaded(path, None, tuple(problems))
    cell, more = resolve_cell(text, folder=str(Path(path).parent))
    every = sorted(
        (*problems, *more),
        key=lambda d: (d.span.file, d.span.line, d.span.column) if d.span else ("", 0, 0),
    )
    return Loaded(path, cell, tuple(every))


@lru_cache(maxsize=8)
def _judged(
    path: str, key: tuple[tuple[str, str], ...], *, remedies: bool
) -> tuple[Loaded, Judgement]:
    del key  # content hashes: a changed file is judged anew
    loaded = load(path)
    assert loaded.cell is not None
    judgement = judge(loaded.cell)
    return loaded, with_remedies(loaded.cell, judgement) if remedies else judgement


def prove(
    path: str, *, remedies: bool = True, progress: Progress | None = None
) -> tuple[Loaded, Judgement | None]:
    """Judge a cell file.

    Args:
        path: the cell file.
        remedies: also look for cures and solve each again.
        progress: called with findings done and findings in all; first, with 0 of 1, before the
            judgement itself.

    Returns:
        The loaded file and its judgement; None when there is no cell to judge.
    """
    loaded = load(path)
    if loaded.cell is None:
        return loaded, None
    if progress is None:
        return _judged(
            path, (*loaded.cell.files, (path, str(len(loaded.problems)))), remedies=remedies
        )
    progress(0, 1)
    judgement = judge(loaded.cell)
    if remedies and judgement.findings:
        judgement = with_remedies(loaded.cell, judgement, progress)
    else:
        progress(1, 1)
    return loaded, judgement


def meter(
    cell: Cell,
    a: Terminal | str,
    b: Terminal | str,
    *,
    state: Mapping[str, str] | None = None,
    lifted: Sequence[str] = (),
    mode: str = "volts",
) -> Reading:
    """Predict a meter reading; see `ringout.findings.meter.read_meter`."""
    return read_meter(cell, a, b, state=state, lifted=lifted, mode=mode)


def netlist(
    cell: Cell, state: Mapping[str, str], *, corner: str = "typ", as_text: bool = False
) -> str:
    """Return the circuit of one settled state as SPICE text, or as a readable element list.

    Args:
        cell: the cell.
        state: actor to position; all else at rest.
        corner: `low`, `typ` or `high`: every element at that end of its tolerance.
        as_text: the element list instead of SPICE.
    """
    from ringout.circuit.spice import netlist as spice_netlist

    circuit = compile_circuit(cell)
    which = {"low": LOW, "typ": TYP, "high": HIGH}[corner]
    positions = circuit.positions([dict(state)])
    settled = settle_states(circuit, positions, circuit.curves(positions))
    curve_of = circuit.curves(settled.positions, which)[0]
    if as_text:
        return dump_text(circuit.network, curve_of)
    words = ", ".join(f"{a} {p}" for a, p in state.items()) or "at rest"
    start_v = solve_cases(circuit.network, curve_of[None, :]).node_v[0]
    title = f"{cell.name}, {words}, {corner} values"
    return spice_netlist(circuit.network, curve_of, title, start_v=start_v)


def faults(
    cell: Cell,
    *,
    chosen: Callable[[Fault], bool] | None = None,
    double: bool = False,
    progress: Progress | None = None,
) -> FaultTable:
    """Return every plausible wiring fault of a cell with its effects.

    Args:
        cell: the cell.
        chosen: which single faults to take; all when not given.
        double: pairs of faults in one neighbourhood instead of single ones.
        progress: called with neighbourhoods done and in all.
    """
    from ringout.findings.effects import fault_table

    return fault_table(cell, chosen=chosen, double=double, progress=progress)


def checkout(cell: Cell, *, progress: Progress | None = None) -> Checkout:
    """Return the shortest procedure that exposes every wiring fault of a cell.

    Args:
        cell: the cell.
        progress: called with cases done and in all.
    """
    from ringout.checkout import plan_checkout

    return plan_checkout(cell, progress)


def finder(cell: Cell) -> Finder:
    """Return what finds culprits in a cell; questions about the same cell share what is solved.

    Args:
        cell: the cell.
    """
    from ringout.find import Finder

    return Finder(cell)
