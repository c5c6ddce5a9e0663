"""A resolved cell to its sheet: ends, cut list, faces and I/O list."""

from __future__ import annotations

import hashlib

from ringout.cell.model import Cell
from ringout.report.faces_build import build_faces
from ringout.report.sheet_cut import build_cut_list
from ringout.report.sheet_ends import build_ends
from ringout.report.sheet_io import build_io
from ringout.report.sheet_make import House, read_house
from ringout.report.sheet_model import FIELD_PLUG, End, Sheet
from ringout.report.sheet_nets import Nets

HASH_FIGURES = 12


def build_sheet(cell: Cell) -> Sheet:
    """Return everything the connection sheet of a cell shows.

    Args:
        cell: the resolved cell.

    Returns:
        The sheet; renderers only lay it out.
    """
    house = read_house(cell.house)
    nets = Nets(cell)
    ends = build_ends(cell, nets, house)
    return Sheet(
        cell=cell.name,
        revision=cell.revision,
        file_hash=_hash(cell),
        market=house.market,
        ferrule_series=house.series_name,
        ends=ends,
        cut=build_cut_list(cell, ends),
        faces=build_faces(cell, nets),
        io=build_io(cell, nets),
        notes=_notes(cell, house, ends),
    )


def _hash(cell: Cell) -> str:
    """Return the first figures of the content hash; several files are hashed together."""
    if len(cell.files) == 1:
        return cell.files[0][1][:HASH_FIGURES]
    every = "\n".join(digest for _, digest in cell.files)
    return hashlib.sha256(every.encode()).hexdigest()[:HASH_FIGURES] if cell.files else ""


def _notes(cell: Cell, house: House, ends: tuple[End, ...]) -> tuple[str, ...]:
    notes = [
        "Isolate and lock off before touching; prove dead. Local codes and licensed people decide.",
        (
            f"Collar colours are of the series {house.series_name}; the same colour means another "
            "size in another series."
        ),
        (
            f"Strip lengths suit the usual ferrule; torque is for {house.thread} clamp screws. "
            "What is printed on the device or in its sheet wins."
        ),
        "Label both ends; the band sits on the insulation, never on the ferrule. Tug every core.",
    ]
    if any(e.work == FIELD_PLUG for e in ends):
        notes.append(
            "Inside round connectors: bare strands, no ferrule; not one strand outside its clamp. "
            "The numbers moulded beside the contacts decide."
        )
    joined = {e.cable for e in ends}
    unused = [name for name in cell.cables if name not in joined]
    if unused:
        notes.append(f"Listed but joined nowhere: {', '.join(unused)}.")
    return (*notes, *house.notes)
