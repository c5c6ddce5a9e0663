"""Quick looks at changed cells, and what has been found out already."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

from ringout.cell.model import Cell, Signal
from ringout.circuit.compile import compile_circuit
from ringout.circuit.model import Circuit
from ringout.findings.bounds import Bounder
from ringout.findings.judge import judge
from ringout.findings.levels import SignalStates, survey_levels
from ringout.findings.model import Judgement
from ringout.findings.protection import FarShort, far_shorts
from ringout.findings.signals import level
from ringout.findings.survey import Survey, survey

Edit = tuple[tuple[str, str], ...]


@dataclass
class Trials:
    """The judged cell and everything tried on it; each question is solved once.

    Args:
        cell: the cell as it is in the file.
        before: its judgement.
        tick: called before each change that is judged.
    """

    cell: Cell
    before: Judgement
    tick: Callable[[], None] = lambda: None
    _judged: dict[Edit, Judgement] = field(default_factory=dict)
    _bleeders: dict[str, float | None] = field(default_factory=dict)
    _base: Survey | None = None

    @cached_property
    def circuit(self) -> Circuit:
        """Return the circuit of the cell as it is."""
        return compile_circuit(self.cell)

    def judged(self, edit: Edit, cell: Cell) -> Judgement:
        """Return the judgement of a changed cell; the edit text tells changes apart."""
        if edit not in self._judged:
            self.tick()
            self._judged[edit] = judge(cell)
        return self._judged[edit]

    def bleeder(self, signal: Signal, find: Callable[[], float | None]) -> float | None:
        """Return the resistor found for a signal, looking for it only once."""
        if signal.name not in self._bleeders:
            self._bleeders[signal.name] = find()
        return self._bleeders[signal.name]

    def far(self, cell: Cell, item: str) -> FarShort | None:
        """Return the far short at one item of a cell that differs in cables or settings only."""
        circuit = compile_circuit(cell)
        if self._base is None:
            self._base = survey(self.circuit)
        shorts = far_shorts(cell, self._base, circuit, only=item)
        return shorts[0] if shorts else None


def trial_states(cell: Cell, signal: str) -> SignalStates | None:
    """Return one signal of a changed cell in all its states; None without a level."""
    return _trial(cell, signal)[1]


def _trial(cell: Cell, signal: str) -> tuple[Circuit, SignalStates | None]:
    only = replace(cell, signals={signal: cell.signals[signal]}, expects=())
    circuit = compile_circuit(only)
    found = survey(circuit)
    levels = survey_levels(circuit, found, Bounder(circuit, found))
    return circuit, levels.by_name.get(signal)


def trial_margins(cell: Cell, signal: str) -> tuple[float, float] | None:
    """Return the worst-case margins (on, off) of one signal in volts; None without a level."""
    circuit, states = _trial(cell, signal)
    if states is None:
        return None
    on, off = level(circuit, states, wanted=True), level(circuit, states, wanted=False)
    return (
        on.margin_v if on is not None else float("inf"),
        off.margin_v if off is not None else float("inf"),
    )
