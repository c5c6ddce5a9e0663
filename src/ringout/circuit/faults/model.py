"""A fault as data: what differs from the healthy circuit, where, and how likely it is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ringout.base import Interval, Span
from ringout.cell.model import Join
from ringout.cell.part import ElementSpec
from ringout.circuit.behaviour import Behaviour
from ringout.circuit.curves import Curve

# What an added element is while its fault is not there: exactly nothing. The leak of every
# node to PE alone keeps the solution unique, so this slope may be 0.
ABSENT = Behaviour.fixed(Curve((), (0.0,), 0.0))

Place = int | str
"""A node of the healthy circuit by number, or by name one that only the fault brings."""


@dataclass(frozen=True, slots=True)
class Change:
    """One element that behaves otherwise than in the healthy circuit.

    Args:
        element: name of an element of the circuit or of an added one.
        on: what it does while its conditions hold (low, typical, high curve).
        off: what it does while they do not.
    """

    element: str
    on: Behaviour
    off: Behaviour

    @staticmethod
    def always(element: str, behaviour: Behaviour) -> Change:
        """Return a change that is the same in every state."""
        return Change(element, behaviour, behaviour)


@dataclass(frozen=True, slots=True)
class Extra:
    """An element that the healthy circuit does not have.

    Args:
        name: its name, unlike that of any other element.
        kind: element kind; `short`, `moved` for conductors.
        tail: place the current enters.
        head: place it leaves.
        item: item it belongs to; empty for conductors and shorts.
        spec: its line in the wrong part; None for conductors and shorts.
        join: the conductor that was landed elsewhere; None for all else.
        span: the user's line.
        conditions: actor and bits of the positions in which it conducts; all must hold.
    """

    name: str
    kind: str
    tail: Place
    head: Place
    item: str
    spec: ElementSpec | None
    join: Join | None
    span: Span
    conditions: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Sensing:
    """Electronics that only the fault brings, alive from `level` on between two places."""

    actor: str
    item: str
    tail: Place
    head: Place
    level: Interval
    span: Span


@dataclass(frozen=True, slots=True)
class Fault:
    """One wrong thing in the wiring or a part.

    Args:
        id: stable, readable, sayable: `open W1:BK@S1`.
        kind: row of the table of likelihoods.
        text: one plain sentence.
        where: places in the file, the most telling first.
        place: what it is about, in the file's words.
        likelihood: relative, common practice.
        changes: the delta.
        extras: added elements the changes name.
        sensing: added electronics.
        items: items concerned.
        cables: cables concerned.
        signals: signals whose part of the circuit is touched.
        group: neighbourhood it is solved with: a cable, a socket or an item.
        also: other names it goes by.
    """

    id: str
    kind: str
    text: str
    where: tuple[Span, ...]
    place: str
    likelihood: float
    changes: tuple[Change, ...]
    extras: tuple[Extra, ...] = ()
    sensing: tuple[Sensing, ...] = ()
    items: tuple[str, ...] = ()
    cables: tuple[str, ...] = ()
    signals: tuple[str, ...] = ()
    group: str = ""
    also: tuple[str, ...] = ()

    @property
    def delta(self) -> frozenset[Change]:
        """Return what makes two faults electrically the same."""
        return frozenset(self.changes)

    @property
    def touched(self) -> frozenset[str]:
        """Return the names of the elements it changes."""
        return frozenset(c.element for c in self.changes)


def both(first: Fault, second: Fault) -> Fault | None:
    """Return two faults at once, or None when they change the same element."""
    if first.touched & second.touched:
        return None
    return Fault(
        f"{first.id} + {second.id}",
        "pair",
        f"{first.text[:-1]}, and {second.text[0].lower()}{second.text[1:]}",
        tuple(dict.fromkeys(first.where + second.where)),
        first.place if first.place == second.place else f"{first.place}, {second.place}",
        first.likelihood * second.likelihood,
        first.changes + second.changes,
        tuple({e.name: e for e in first.extras + second.extras}.values()),
        tuple(dict.fromkeys(first.sensing + second.sensing)),
        tuple(dict.fromkeys(first.items + second.items)),
        tuple(dict.fromkeys(first.cables + second.cables)),
        tuple(dict.fromkeys(first.signals + second.signals)),
        first.group if first.group == second.group else f"{first.group}, {second.group}",
    )


def alike(faults: Iterable[Fault]) -> dict[frozenset[Change], list[Fault]]:
    """Return faults by what they do, those that are electrically the same together."""
    found: dict[frozenset[Change], list[Fault]] = {}
    for fault in faults:
        found.setdefault(fault.delta, []).append(fault)
    return found
