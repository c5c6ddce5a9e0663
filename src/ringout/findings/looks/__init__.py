"""Looks at a cell: what a meter, a lamp or the controller shows with and without faults."""

from ringout.findings.looks.lamps import lamp_of
from ringout.findings.looks.model import (
    KINDS,
    LAMPS,
    LEVELS,
    LOADS,
    METER_KINDS,
    WORD_KINDS,
    Look,
    Seen,
)
from ringout.findings.looks.predict import HEALTHY_CELL, Predictor, predict

__all__ = [
    "HEALTHY_CELL",
    "KINDS",
    "LAMPS",
    "LEVELS",
    "LOADS",
    "METER_KINDS",
    "WORD_KINDS",
    "Look",
    "Predictor",
    "Seen",
    "lamp_of",
    "predict",
]
