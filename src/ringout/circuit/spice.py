"""A case as a netlist for SPICE, so that a second solver can be the referee.

Straight lines become resistors; bent curves become behavioural current sources whose end
points lie far outside, so that it does not matter how the program goes on beyond them.
"""

from __future__ import annotations

import re

from ringout.circuit.curves import Curve, value
from ringout.circuit.network import FloatArray, IntArray, Network

LEAK_OHM = 1e9  # from every node to PE, as in our own solution
FAR_V = 1e4  # end points of bent curves lie this far out
_LINE = re.compile(r"^v\(n(\d+)\)\s*=\s*([-+0-9.eE]+)\s*$", re.MULTILINE)

# Tight enough to compare to a millivolt; gmin must be well below our own leak.
OPTIONS = ".options reltol=1e-6 abstol=1e-12 vntol=1e-9 gmin=1e-15 itl1=2000 itl6=200"


def netlist(
    network: Network,
    curve_of: IntArray,
    title: str,
    *,
    leak_ohm: float = LEAK_OHM,
    start_v: FloatArray | None = None,
) -> str:
    """Return one case as SPICE text that runs unchanged with `ngspice -b`.

    It finds the operating point and prints every node voltage. Node k of the network is
    `nk`, PE is 0; the users' names stand in the comments.

    Args:
        network: N nodes, E elements.
        curve_of: (E,) curve of each element.
        title: first line.
        leak_ohm: resistor from every node to PE.
        start_v: (N,) voltages to start from. The program lets go of them again; they help it
            over steep curves and do not change what it ends at.

    Returns:
        The netlist.
    """
    lines = [_comment(title) or "circuit", f"* reference 0 = {_comment(network.node_names[0])}"]
    lines += [f"* n{k} = {_comment(name)}" for k, name in enumerate(network.node_names) if k]
    lines.append(OPTIONS)
    for k, name in enumerate(network.element_names):
        tail, head = _node(int(network.tail[k])), _node(int(network.head[k]))
        lines.append(f"* {_comment(name)}")
        lines += _element(k, tail, head, network.curves.curves[int(curve_of[k])])
    lines += [f"Rleak{k} n{k} 0 {leak_ohm:.6g}" for k in range(1, network.node_count)]
    if start_v is not None:
        lines += [f".nodeset v(n{k})={start_v[k]:.9g}" for k in range(1, network.node_count)]
    lines += [".control", "set numdgt=12", "op"]
    lines += [f"print v(n{k})" for k in range(1, network.node_count)]
    lines += [".endc", ".end"]
    return "\n".join(lines) + "\n"


def parse_ngspice_output(text: str) -> dict[str, float]:
    """Return the node voltages that ngspice printed for one of our netlists, by `nk`.

    What could not be solved is simply not there; a solved operating point has every node.
    """
    return {f"n{number}": float(volts) for number, volts in _LINE.findall(text)}


def _node(node: int) -> str:
    return f"n{node}" if node else "0"


def _comment(text: str) -> str:
    """Return text that cannot break out of its comment line."""
    return " ".join(text.split())


def _element(number: int, tail: str, head: str, curve: Curve) -> list[str]:
    if tail == head:
        return [f"* E{number} joins a node to itself"]
    if curve.is_linear:
        lines = [f"R{number} {tail} {head} {1.0 / curve.slope_s[0]:.12g}"]
        if curve.base_a != 0.0:
            lines.append(f"I{number} {tail} {head} {curve.base_a:.12g}")
        return lines
    places = (curve.break_v[0] - FAR_V, *curve.break_v, curve.break_v[-1] + FAR_V)
    pairs = ", ".join(f"{v:.14g}, {value(curve, v):.14g}" for v in places)
    return [f"B{number} {tail} {head} I=pwl(V({tail},{head}), {pairs})"]
