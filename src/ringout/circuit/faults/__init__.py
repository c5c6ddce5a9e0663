"""What can be wrong in a cell: faults as data, and circuits they can be put into."""

from ringout.circuit.faults.catalogue import find_fault, in_groups, single_faults
from ringout.circuit.faults.extend import HEALTHY, FaultCurves, Faulted, with_faults
from ringout.circuit.faults.model import ABSENT, Change, Extra, Fault, Sensing, alike, both

__all__ = [
    "ABSENT",
    "HEALTHY",
    "Change",
    "Extra",
    "Fault",
    "FaultCurves",
    "Faulted",
    "Sensing",
    "alike",
    "both",
    "find_fault",
    "in_groups",
    "single_faults",
    "with_faults",
]
