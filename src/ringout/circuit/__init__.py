"""Room 4: the cell as a network of two-terminal elements with their curves.

Only the arrays are exported here, so that the numeric core, which builds on them, loads
nothing of cells; `circuit.compile` and `circuit.model` are imported by their own names.
"""

from ringout.circuit.curves import Curve
from ringout.circuit.network import CurveTable, Network, NetworkBuilder, dump_text

__all__ = ["Curve", "CurveTable", "Network", "NetworkBuilder", "dump_text"]
