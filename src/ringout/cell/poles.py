"""What `0 V`, `24 V`, `PE` and `ground` stand for: a terminal of the only supply."""

from __future__ import annotations

import re

from ringout.cell.model import Cell, Item, Terminal

_NUMBER = re.compile(r"\d+")
_NEAR_NOMINAL = 0.1  # a "24 V" supply may be set to anything near
_POLE = re.compile(
    r"[+-]?\s*\d{1,2}\s*V(?:DC)?|minus|plus|ground|gnd|common|com|pe|earth", re.IGNORECASE
)


def is_pole(word: str) -> bool:
    """Return whether a whole word stands for a pole of the supply."""
    return _POLE.fullmatch(word.strip()) is not None


def find_pole(cell: Cell, word: str) -> tuple[Terminal | None, str, str]:
    """Return the supply terminal that a word for a pole stands for.

    Args:
        cell: the cell.
        word: `0 V`, `24 V`, `PE`, `ground` and the like.

    Returns:
        The terminal; or None, what is unclear and what to say instead.
    """
    supplies = [i for i in cell.items.values() if i.part.family == "supply"]
    pole = _pole(word)
    volts = _NUMBER.search(word)
    if pole == "+" and volts is not None:
        supplies = [s for s in supplies if _gives(s, float(volts[0]))]
    every = [t for s in supplies for t in _at_net(s, pole)]
    if len(supplies) == 1 and every:
        return every[0], "", ""
    shown = ", ".join(str(t) for t in every[:6])
    if not supplies:
        message = f"`{word}` is no place: no supply of this cell has it"
    elif len(supplies) > 1:
        message = f"which {word}? this cell has {len(supplies)} supplies"
    else:
        message = f"supply {supplies[0].name} has no terminal for {word}"
    fix = f"name the terminal: {shown}" if shown else "name the terminal the probe was on"
    return None, message, fix


def _at_net(supply: Item, pole: str) -> list[Terminal]:
    source = next((e for e in supply.part.elements if e.kind == "source"), None)
    names = [pole]
    if source is not None and pole in "+-":
        net = source.tail if pole == "+" else source.head
        names += [t for t, n in supply.part.terminals.items() if n == net]
    return [Terminal(supply.name, "", t) for t in names if t in supply.part.terminals][:1]


def _gives(supply: Item, volts: float) -> bool:
    """Return whether this is the voltage a supply is called by."""
    return any(
        abs(e.values["volts"].typ - volts) <= _NEAR_NOMINAL * volts
        for e in supply.part.elements
        if e.kind == "source"
    )


def _pole(word: str) -> str:
    small = word.casefold().replace(" ", "")
    if small in ("pe", "earth"):
        return "PE"
    if small in ("ground", "gnd", "minus", "common", "com") or small.lstrip("+-")[:2] in (
        "0v",
        "0",
    ):
        return "-"
    return "+"
