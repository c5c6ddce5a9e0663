"""What a link needs to be entered besides its line: files beside the cell, secrets, a lot drawn."""

from __future__ import annotations

import os
import random
from collections.abc import Collection, Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ringout.cell.links import placed_on
from ringout.cell.model import Cell, Link
from ringout.live.keys import key_is_locked

if TYPE_CHECKING:
    from ringout.circuit.faults import Fault

PASSWORD, PASSPHRASE = "RINGOUT_PASSWORD", "RINGOUT_KEY_PASSWORD"  # names of variables
OPEN = ("open-landed", "open-cord")
KINDS = {"": ("swap", *OPEN), "swap": ("swap",), "open": OPEN}  # said to kinds of fault


def plain_link(cell: Cell, name: str, protocol: str, target: str) -> Link:
    """Return a link with the usual places: channels on from address 0, or nodes of their names."""
    item = cell.items[name]
    first = 0 if protocol == "modbus" else f"ns=2;s={name}.{{channel}}"
    places = placed_on(item, "input", first) | placed_on(item, "output", first)
    return Link(name, protocol, target, 1, "discrete", places, item.span)


def inputs_of(cell: Cell, link: Link) -> tuple[str, ...]:
    """Return the channels of a link that are inputs."""
    kinds = cell.items[link.item].part.channels
    return tuple(c for c in link.places if kinds[c].kind == "input")


def beside(link: Link, folder: str) -> Link:
    """Return a link whose files without a folder lie beside the cell file."""

    def file(name: str) -> str:
        return str(Path(folder) / Path(name).expanduser()) if name else ""

    said = link.access
    access = replace(
        said, certificate=file(said.certificate), key=file(said.key), trust=file(said.trust)
    )
    return replace(link, access=access)


def needed(link: Link) -> dict[str, tuple[str, str]]:
    """Return the secrets a link needs: name to (variable of the environment, what it is)."""
    out = {}
    if link.access.user:
        out["password"] = PASSWORD, f"password of {link.access.user} at {link.item}"
    if link.access.key and key_is_locked(link.access.key):
        out["passphrase"] = PASSPHRASE, f"passphrase of {link.access.key}"
    return out


def own_variable(variable: str, item: str) -> str:
    """Return the name of the variable that holds a secret of one controller alone."""
    return f"{variable}_{item}" if item else variable


def from_environment(variable: str, item: str) -> str | None:
    """Return a secret from the environment: that of one controller, else that of all."""
    for name in (own_variable(variable, item), variable):
        if name in os.environ:
            return os.environ[name]
    return None


def drawn_by_lot(
    cell: Cell,
    every: Iterable[Fault],
    served: Collection[str],
    count: int,
    kinds: Collection[str],
    seed: int,
) -> list[Fault]:
    """Return some faults that the inputs of the served controllers can show.

    Args:
        cell: the cell.
        every: all its faults.
        served: controllers.
        count: how many.
        kinds: kinds of fault to draw from.
        seed: the same number draws the same faults.
    """
    seen = {n for n, s in cell.signals.items() if s.on is not None and s.item in served}
    shown = [f for f in every if seen.intersection(f.signals) and f.kind in kinds]
    chance = random.Random(seed)  # noqa: S311  # an exercise, nothing secret
    return chance.sample(shown, min(count, len(shown)))
