"""Drawings as SVG: circuits of signals, the supply tree, the overview of a cell."""

from ringout.report.drawing.circuit import draw_circuit, draw_signal
from ringout.report.drawing.overview import draw_overview
from ringout.report.drawing.paper import Sheet
from ringout.report.drawing.path_build import build_circuit_view
from ringout.report.drawing.path_solve import on_state
from ringout.report.drawing.supply_draw import draw_supply

__all__ = [
    "Sheet",
    "build_circuit_view",
    "draw_circuit",
    "draw_overview",
    "draw_signal",
    "draw_supply",
    "on_state",
]
