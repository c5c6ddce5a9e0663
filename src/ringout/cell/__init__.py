"""Room 3: parts, items, joins and signals as frozen data; rules that need no solving."""

from ringout.cell.catalogue import find_part, load_part, part_file, part_names
from ringout.cell.model import Cell, Condition, Item, Join, Signal, Terminal
from ringout.cell.part import Part
from ringout.cell.resolve import resolve_cell

__all__ = [
    "Cell",
    "Condition",
    "Item",
    "Join",
    "Part",
    "Signal",
    "Terminal",
    "find_part",
    "load_part",
    "part_file",
    "part_names",
    "resolve_cell",
]
