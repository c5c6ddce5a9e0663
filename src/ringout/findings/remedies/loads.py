"""Remedies for coils without suppression and contacts of the wrong material."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ringout.cell.catalogue import find_part, part_names
from ringout.cell.channels import terminal_of_net
from ringout.cell.edit import free_name, with_item, with_part
from ringout.cell.model import Cell
from ringout.findings.model import Finding
from ringout.findings.remedies.levels import fits
from ringout.findings.remedies.proposal import Proposal
from ringout.findings.remedies.trials import Trials


def propose_loads(trials: Trials, finding: Finding) -> Iterable[Proposal]:
    """Yield a suppressor for a bare coil, a gold contact for a dry circuit."""
    cell = trials.cell
    if finding.code == "F304":
        yield from _suppress(cell, finding)
    elif finding.code == "F701":
        yield from _gold(cell, finding)


def _suppress(cell: Cell, finding: Finding) -> Iterator[Proposal]:
    item = cell.items[finding.get("item")]
    name = finding.get("element").split(".", 1)[1]
    coil = item.part.element_by_name[name]
    plus = terminal_of_net(cell, item.name, coil.tail)
    minus = terminal_of_net(cell, item.name, coil.head)
    if plus is None or minus is None:
        return
    signals = tuple(s.name for s in cell.signals.values() if s.drives.split(".")[0] == item.name)
    for part_name, words in (
        ("suppressor-diode", "a diode (slow to let go)"),
        ("suppressor-tvs", "a suppressor diode that clamps both ways (lets go fast)"),
    ):
        part = find_part(part_name)
        if part is None:
            continue
        own = free_name(cell, part.letter or "R")
        marked = "+" in part.terminals
        pins = ["+", "-"] if marked else list(part.terminals)[:2]
        links = {pins[0]: plus, pins[1]: minus}
        pins_text = tuple(("", f"- {own}:{pin}  {place}") for pin, place in links.items())
        yield Proposal(
            f"fit {words} at {item.name}, directly across the coil"
            + (f": its + (cathode) to {plus}, its - to {minus}" if marked else ""),
            with_item(cell, own, part, links, {}),
            (("", f"{own}: {part_name}"), *pins_text),
            signals,
        )
    for other in _same_with_diode(cell, item.part.name):
        part = find_part(other, None, cell.folder)
        if part is not None and fits(item.part, part):
            yield Proposal(
                f"use {other} for {item.name}",
                with_part(cell, item.name, part),
                ((f"{item.name}: {item.part.name}", f"{item.name}: {other}"),),
                signals,
            )


def _same_with_diode(cell: Cell, name: str) -> list[str]:
    stem = "-".join(name.split("-")[:2])
    return [n for n in part_names(cell.folder) if n != name and n.startswith(stem)]


def _gold(cell: Cell, finding: Finding) -> Iterator[Proposal]:
    item = cell.items[finding.get("item")]
    words = item.part.name.split("-")
    for name in part_names(cell.folder):
        if "gold" not in name or name.split("-")[0] != words[0]:
            continue
        part = find_part(name, None, cell.folder)
        if part is None or not fits(item.part, part):
            continue
        signals = tuple(value for key, value in finding.about if key == "signal")
        yield Proposal(
            f"use {name} for {item.name}: gold contacts stay clean at a few milliamperes",
            with_part(cell, item.name, part),
            ((f"{item.name}: {item.part.name}", f"{item.name}: {name}"),),
            signals,
        )
