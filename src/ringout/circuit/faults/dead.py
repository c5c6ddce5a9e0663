"""What has died as a whole: supplies, electronics of devices, lamps and coils."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from ringout.circuit.behaviour import OPEN, Behaviour
from ringout.circuit.faults.model import Change, Fault
from ringout.circuit.faults.wiring import Wiring
from ringout.circuit.model import Element

# These stay what they are when the electronics beside them die.
PASSED_THROUGH = frozenset({"bond", "fuse", "breaker"})
NOT_DEVICES = frozenset({"controller", "supply", "protection"})


def dead_supplies(w: Wiring) -> Iterator[Fault]:
    """Yield every supply off, tripped or broken; its earth bond stays."""
    for e in w.circuit.elements:
        if e.kind == "source" and w.cell.items[e.item].part.family == "supply":
            text = f"The supply {e.item} is off or dead."
            yield _dead(w, e.item, "supply-dead", text, {e.name: OPEN})


def dead_devices(w: Wiring) -> Iterator[Fault]:
    """Yield every device whose electronics are dead: own load, lamps and outputs together."""
    for item in w.cell.items.values():
        if item.part.alive is None or item.part.family in NOT_DEVICES:
            continue
        inside = [
            e
            for e in w.circuit.elements
            if e.item == item.name and e.spec is not None and e.kind not in PASSED_THROUGH
        ]
        # contacts that no electronics work go on as before
        mine = [e for e in inside if e.kind != "contact" or (e.spec and e.spec.powered)]
        if mine and any(_reached(w, e) for e in mine):
            text = (
                f"The electronics of {item.name} are dead: its own current, lamps and outputs "
                f"are gone together."
            )
            yield _dead(
                w, item.name, "device-dead", text, dict.fromkeys((e.name for e in mine), OPEN)
            )


def dead_loads(w: Wiring) -> Iterator[Fault]:
    """Yield burnt-out lamps and coils of everything that has no electronics."""
    for item in w.cell.items.values():
        part = item.part
        if part.alive is not None or part.family in (*NOT_DEVICES, "sensor", "component"):
            continue
        loads = [
            e
            for e in w.circuit.elements
            if e.item == item.name and e.spec is not None and _is_load(e, part.main)
        ]
        for e in loads:
            assert e.spec is not None
            if not _reached(w, e):
                continue
            alone = len(loads) == 1 and part.family in ("load", "relay")
            whole = alone or e.spec.name == part.main
            name = item.name if whole else e.name
            what = {"coil": "coil", "lamp": "lamp"}.get(e.kind, "load")
            text = f"The {what} of {name} is burnt out or broken inside."
            made = {e.name: OPEN, **_left_at_rest(w, e)}
            yield _dead(w, item.name, "load-open", text, made, name=name)


def _left_at_rest(w: Wiring, coil: Element) -> dict[str, Behaviour]:
    """Return the contacts that a dead coil no longer moves, each as it is at rest.

    The solution tells an armature by the voltage over its coil, which a broken coil still has.
    """
    c = w.circuit
    left: dict[str, Behaviour] = {}
    for driven in c.driven:
        moved = c.actors[driven.actor]
        here = (driven.tail, driven.head) == (coil.tail, coil.head)
        if moved.moved_by != "coil" or moved.item != coil.item or not here:
            continue
        for number, e in enumerate(c.elements):
            conditions = [
                (int(a), int(m) >> driven.off_position & 1)
                for a, m in zip(c.cond_actor[number], c.cond_mask[number], strict=True)
                if a >= 0
            ]
            if driven.actor not in dict(conditions):
                continue
            on, off = w.behaviour(number)
            rests = dict(conditions)[driven.actor]
            # one that also waits for something else is left to that
            if not rests or len(conditions) == 1:
                left[e.name] = on if rests else off
    return left


def _is_load(e: Element, main: str) -> bool:
    assert e.spec is not None
    return e.kind in ("coil", "lamp") or (e.spec.name == main and e.kind != "contact")


def _reached(w: Wiring, e: Element) -> bool:
    used = {w.node(end.at) for end in w.ends}
    return e.tail in used and e.head in used


def _dead(
    w: Wiring, item: str, kind: str, text: str, made: Mapping[str, Behaviour], *, name: str = ""
) -> Fault:
    return w.inside(
        w.cell.items[item],
        f"dead {'supply ' if kind == 'supply-dead' else ''}{name or item}",
        kind,
        text,
        [Change.always(e, behaviour) for e, behaviour in made.items()],
    )
