"""Drawings as SVG: circuits, cables, faces, maps, the supply tree, the overview."""

from ringout.report.drawing.cable import cable_names, draw_cable
from ringout.report.drawing.circuit import draw_circuit, draw_signal
from ringout.report.drawing.faces import draw_face
from ringout.report.drawing.map_build import mapped_items
from ringout.report.drawing.map_draw import draw_map
from ringout.report.drawing.overview import draw_overview
from ringout.report.drawing.paper import Sheet
from ringout.report.drawing.path_build import build_circuit_view
from ringout.report.drawing.path_solve import on_state
from ringout.report.drawing.supply_draw import draw_supply

__all__ = [
    "Sheet",
    "build_circuit_view",
    "cable_names",
    "draw_cable",
    "draw_circuit",
    "draw_face",
    "draw_map",
    "draw_overview",
    "draw_signal",
    "draw_supply",
    "mapped_items",
    "on_state",
]
