"""Why nothing tells of a latent fault, and why it matters all the same."""

from __future__ import annotations

from collections.abc import Sequence

from ringout.circuit.faults import Fault
from ringout.findings.effects.model import HARM, Effect

SAME_V = 0.001  # voltages that move by less are the same
_MATTERS = {
    "open-landed": "Another conductor does its work; with that one gone too, it shows.",
    "open-cord": "Nothing in the cell uses this core, or another conductor does its work.",
    "open-link": "Nothing in the cell uses this joint, or another conductor does its work.",
    "joint": "It carries too little to show; it heats and grows worse under more current.",
    "water": "The leak is too small to show; it grows, and it eats the pins.",
    "short-pins": "It joins what has the same level; it shows once one of the two is broken.",
    "short-cores": "It joins what has the same level; it shows once one of the two is broken.",
    "short-rail": "It joins what has the same level; a second fault then shorts or bridges.",
    "swap": "The two do the same thing, or polarity does not matter there; labels are wrong.",
    "swap-plugs": "The two places do the same thing; labels are wrong.",
    "off-pin": "The place does the same thing; the label is wrong.",
    "off-plug": "The place does the same thing; the label is wrong.",
    "reversed": "It works either way in all the states solved; the mark is wrong.",
    "wrong-part": "It works in this place within typical values; its margins are others.",
    "welded": "Nothing in the cell depends on its opening.",
    "never": "Nothing in the cell depends on its closing.",
    "stage-shorted": "Nothing in the cell depends on its turning off.",
    "stage-dead": "Nothing in the cell depends on it.",
    "no-return": "Another conductor returns the current; with that one gone too, it shows.",
    "suppressor-absent": "No level tells; the harm comes with every turning off.",
    "suppressor-reversed": "No level tells.",
    "supply-low": "All levels still hold; margins are gone.",
    "supply-dead": "Another supply feeds all that is looked at; with that one gone too, it shows.",
    "device-dead": "Nothing in the cell depends on it.",
    "load-open": "It is never driven in the states solved; when it should work, it will not.",
    "pair": "The two together still show nothing.",
}


def why_latent(fault: Fault, effects: Sequence[Effect], moved_v: float) -> str:
    """Return why nothing tells of a fault.

    Args:
        fault: the fault.
        effects: its effects, harm at most.
        moved_v: largest change of any voltage.
    """
    matters = _MATTERS[fault.kind]
    if any(e.kind == HARM for e in effects):
        return f"Signals and loads stay as they should while it does harm. {matters}"
    if moved_v < SAME_V:
        return f"No voltage moves by more than 1 mV. {matters}"
    return f"Voltages move by up to {moved_v:.3g} V and no level changes. {matters}"
