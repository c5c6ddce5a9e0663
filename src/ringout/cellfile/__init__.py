"""Room 2: the cell file as text, as a tree with places, and as statements."""

from ringout.cellfile.cell_text import parse_cell_text, read_cell_text
from ringout.cellfile.condition import And, Condition, Is, Not, Or, leaves, parse_condition
from ringout.cellfile.expect import ExpectLine, parse_expect
from ringout.cellfile.read import parse_tree, read_tree
from ringout.cellfile.statements import (
    AcceptLine,
    CableLine,
    CellText,
    ItemLine,
    JoinLine,
    SignalLine,
)
from ringout.cellfile.tree import Mapping, Node, Scalar, Sequence, Tree, as_list, as_text
from ringout.cellfile.words import ChannelText, PlaceText, Word

__all__ = [
    "AcceptLine",
    "And",
    "CableLine",
    "CellText",
    "ChannelText",
    "Condition",
    "ExpectLine",
    "Is",
    "ItemLine",
    "JoinLine",
    "Mapping",
    "Node",
    "Not",
    "Or",
    "PlaceText",
    "Scalar",
    "Sequence",
    "SignalLine",
    "Tree",
    "Word",
    "as_list",
    "as_text",
    "leaves",
    "parse_cell_text",
    "parse_condition",
    "parse_expect",
    "parse_tree",
    "read_cell_text",
    "read_tree",
]
