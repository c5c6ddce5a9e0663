"""Steps in words: what to do, where the probes go, what must be seen, what it means if not."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ringout.cell.model import Cell, Terminal
from ringout.checkout.model import INPUTS, LOAD, OHMS, Candidate
from ringout.circuit.faults import Fault
from ringout.circuit.model import Circuit, IntArray
from ringout.findings.looks.places import is_pin

SUSPECTS = 3  # how many causes a step names


def place_words(cell: Cell, terminal: Terminal) -> str:
    """Return where a probe goes: item, pin and side."""
    if not is_pin(cell, terminal):
        return f"clamp {terminal}"
    gender = cell.items[terminal.item].part.sockets[terminal.socket].gender
    side = "socket" if gender == "female" else "plug"
    return f"{terminal.item}-{terminal.socket} pin {terminal.pin} ({side} on {terminal.item})"


def state_words(circuit: Circuit, base: IntArray, state: IntArray) -> list[str]:
    """Return what is moved away from rest, one phrase each."""
    out = []
    for column, actor in enumerate(circuit.actors):
        if state[column] == base[column]:
            continue
        position = actor.positions[int(state[column])]
        if actor.moved_by == "command":
            out.append(f"{actor.name} commanded {position}")
        elif position == "target":
            out.append(f"a target at {actor.name}")
        elif actor.moved_by in ("person", "supply"):
            out.append(f"{actor.name} {position}")
    return out


def do_words(cell: Cell, candidate: Candidate, moved: Sequence[str]) -> str:
    """Return the instruction of a step."""
    held = f"With {' and '.join(moved)}: " if moved else ""
    if candidate.kind == INPUTS:
        text = f"read all inputs of {candidate.what}"
    elif candidate.kind == LOAD:
        text = f"look at {candidate.what}"
    else:
        assert candidate.a is not None
        assert candidate.b is not None
        unit = "ohms" if candidate.kind == OHMS else "DC volts"
        red, black = place_words(cell, candidate.a), place_words(cell, candidate.b)
        text = f"meter on {unit}, red on {red}, black on {black}"
    return held + text if held else text[0].upper() + text[1:]


def glance_words(levels: Iterable[tuple[str, str]], kind: str) -> str:
    """Return what must be seen at a glance, the busy ones first."""
    pairs = list(levels)
    if kind != INPUTS:
        return " and ".join(f"{name} {word}" for name, word in pairs)
    on = [name for name, word in pairs if word == "on"]
    off = [name for name, word in pairs if word == "off"]
    parts = []
    if on:
        parts.append(f"{', '.join(on)} on")
    if off:
        parts.append(f"{'all others' if on else 'all'} off ({', '.join(off)})")
    return "; ".join(parts)


NO_WIRE_IS_WRONG = {
    INPUTS: "No wire, by the steps before: the device, or the channel's settings or address.",
    LOAD: "No wire, by the steps before: the load, or the output's settings or address.",
}


def if_not_words(exposed: Sequence[Fault], kind: str) -> str:
    """Return the likeliest causes of anything else."""
    ordered = sorted(exposed, key=lambda f: (-f.likelihood, f.id))
    named = [f.text.rstrip(".") for f in ordered[:SUSPECTS]]
    more = len(ordered) - len(named)
    tail = f", or one of {more} more" if more > 1 else ", or one more" if more else ""
    if not named:
        return NO_WIRE_IS_WRONG.get(
            kind, "The supply is off, set wrong or overloaded: stop and find out."
        )
    return f"{'; '.join(named)}{tail}."
