"""The switches of a circuit: every actor with its positions, each a link."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ringout.cell.model import Actor, Cell
from ringout.web.changes import Bench
from ringout.web.reckon import Reckoned
from ringout.web.setting import Setting

MOVERS = {"supply": "supply", "person": "by hand", "command": "commanded", "coil": "by its coil"}


@dataclass(frozen=True, slots=True)
class Choice:
    """One position: its word, where choosing it leads, and whether it stands there."""

    word: str
    url: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Switch:
    """One actor.

    Args:
        name: as the file names it.
        note: what the item is, or the signal an output carries.
        by: who moves it.
        choices: its positions; none for what the circuit moves itself.
        stands: where it stands now.
    """

    name: str
    note: str
    by: str
    choices: tuple[Choice, ...]
    stands: str


def said(cell: Cell, state: Mapping[str, str]) -> str:
    """Return a state in words, as a URL carries it; what is at rest is not said."""
    words = [
        f"{a} {p}"
        for a, p in state.items()
        if a in cell.actors and p != cell.actors[a].positions[0]
    ]
    return " and ".join(words)


def switches(
    bench: Bench, done: Reckoned, signal: str, setting: Setting, drawn: set[str]
) -> tuple[list[Switch], list[Switch]]:
    """Return the switches of the items drawn, and those elsewhere.

    Args:
        bench: the setting made real.
        done: the setting solved.
        signal: the signal drawn.
        setting: the setting.
        drawn: items on the drawing.
    """
    cell = bench.variant.cell
    own = cell.signals[signal]
    outputs = {s.channel_name: s.name for s in cell.signals.values() if s.on is None}
    here: list[Switch] = []
    elsewhere: list[Switch] = []
    for actor in cell.actors.values():
        if actor.moved_by not in MOVERS:
            continue
        made = _switch(bench, done, signal, setting, actor, outputs)
        command = actor.moved_by == "command"
        near = actor.item in drawn
        if command:  # of a controller's outputs only the one that is drawn
            near = near and (actor.name == own.channel_name or _sourced(bench, signal, actor))
        (here if near else elsewhere).append(made)
    return here, elsewhere


def _sourced(bench: Bench, signal: str, actor: Actor) -> bool:
    """Return whether an output works something the signal waits for."""
    cell = bench.variant.cell
    own = cell.signals[signal]
    if own.on is None:
        return False
    items = {p.actor.partition(".")[0] for p in own.on.leaves()}
    return any(
        s.channel_name == actor.name and s.drives.partition(".")[0] in items
        for s in cell.signals.values()
        if s.on is None
    )


def _switch(  # one row of the panel
    bench: Bench,
    done: Reckoned,
    signal: str,
    setting: Setting,
    actor: Actor,
    outputs: Mapping[str, str],
) -> Switch:
    cell = bench.variant.cell
    stands = done.stands.get(actor.name, "")
    choices: tuple[Choice, ...] = ()
    if actor.moved_by != "coil":
        choices = tuple(
            Choice(
                p,
                setting.but(state=said(cell, {**bench.state, actor.name: p})).url(signal),
                p == stands,
            )
            for p in actor.positions
        )
    note = outputs.get(actor.name, "") or cell.items[actor.item].note
    return Switch(actor.name, note, MOVERS[actor.moved_by], choices, stands)
