"""Speed of campaigns against ngspice on the same cells, as ratios within one run.

Run it with `make bench`, or `python tests/bench/campaign_bench.py [CHANNELS ...]`. All single
faults in all local states of a generated cell; ngspice gets a sample of the same cases, twice:
`alter` and `op` case by case in one process, and one .dc sweep over a case number, in which each
faulty element is a source that depends on it (warm start from case to case; the fastest way found).
Both sides count processor time, so that other work on the machine does not judge.

ngspice finds no operating point for many of these faults where inputs and sensors are true current
sinks and outputs limit their current. The cell it is compared on is therefore softened: outputs
behind a resistance, limits with a slope, inputs without a flat piece. The harder sister, which has
them all as the product has, is measured for our engine alone.
"""

from __future__ import annotations

import math
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from campaign_cells import STATES, TreeCell, tree_cell  # noqa: E402  (the folder is no package)

from ringout.circuit import spice  # noqa: E402
from ringout.circuit.curves import Curve, value  # noqa: E402
from ringout.solve import solve_cases  # noqa: E402

SAMPLE = 200
SAMPLE_CHANNELS = 4
PICKED_OHM, LEFT_OHM = 1e-3, 1e9  # an element with several curves, as ngspice can alter it
SIZES = (24, 96, 384)
RUNS = 5
ASKED = {24: (150.0, None), 96: (400.0, None), 384: (1000.0, 300.0)}


def curve_text(curve: Curve, across: str) -> str:
    """Return a curve as an expression of SPICE."""
    if curve.is_linear:
        return f"({curve.slope_s[0]:.12g}*{across}+({curve.base_a:.12g}))"
    far = spice.FAR_V
    places = (curve.break_v[0] - far, *curve.break_v, curve.break_v[-1] + far)
    pairs = ", ".join(f"{v:.14g}, {value(curve, v):.14g}" for v in places)
    return f"pwl({across}, {pairs})"


def body(cell: TreeCell, replaced: dict[int, list[str]]) -> list[str]:
    """Return the product's own netlist of the base state with some elements replaced.

    Tight tolerances are left out: ngspice runs with its defaults, which are faster.
    """
    text = spice.netlist(cell.network, cell.base_of, "campaign")
    out = []
    for line in text.splitlines()[1:]:
        if line.startswith((".control", ".end", "op", "print", "set ", ".options", "*")):
            continue
        found = re.match(r"[RBI](\d+) ", line)
        number = int(found.group(1)) if found else -1
        if number in replaced:
            out += replaced.pop(number)
        else:
            out.append(line)
    return out


def ends(cell: TreeCell, element: int) -> tuple[str, str]:
    """Return the two nodes of an element as SPICE calls them."""
    nodes = (cell.network.tail[element], cell.network.head[element])
    names = [f"n{n}" if n else "0" for n in nodes]
    return names[0], names[1]


def loop_netlist(cell: TreeCell, cases: list[dict[int, int]], wanted: list[int]) -> str:
    """Return a netlist that solves cases one after the other by `alter` and `op`."""
    curves = cell.network.curves.curves
    chosen: dict[int, list[int]] = {}
    for case in cases:
        for e, c in case.items():
            chosen.setdefault(e, [int(cell.base_of[e])])
            if c not in chosen[e]:
                chosen[e].append(c)
    replaced = {}
    for e, options in chosen.items():
        if all(curves[c].is_linear and curves[c].base_a == 0.0 for c in options):
            continue
        tail, head = ends(cell, e)
        lines = []
        for k, c in enumerate(options):
            lines.append(f"Rpick{e}_{k} {tail} pick{e}_{k} {PICKED_OHM if k == 0 else LEFT_OHM}")
            text = curve_text(curves[c], f"V(pick{e}_{k},{head})")
            lines.append(f"B{e}_{k} pick{e}_{k} {head} I={text}")
        replaced[e] = lines
    bent = set(replaced)
    lines = ["campaign, alter and op", *body(cell, replaced), ".control", "set numdgt=9"]

    def alter(e: int, c: int) -> list[str]:
        if e not in bent:
            return [f"alter R{e} = {1.0 / curves[c].slope_s[0]:.12g}"]
        return [
            f"alter Rpick{e}_{k} = {PICKED_OHM if option == c else LEFT_OHM}"
            for k, option in enumerate(chosen[e])
        ]

    for case in cases:
        for e, c in case.items():
            lines += alter(e, c)
        lines.append("op")
        lines += [f"print v(n{n})" for n in wanted]
        lines.append("destroy all")
        for e in case:
            lines += alter(e, int(cell.base_of[e]))
    return "\n".join([*lines, ".endc", ".end"]) + "\n"


def sweep_netlist(cell: TreeCell, cases: list[dict[int, int]], wanted: list[int]) -> str:
    """Return a netlist that solves cases as one .dc sweep over their number."""
    curves = cell.network.curves.curves
    by_element: dict[int, dict[int, int]] = {}
    for number, case in enumerate(cases):
        for e, c in case.items():
            by_element.setdefault(e, {})[number] = c
    replaced = {}
    for e, at in by_element.items():
        tail, head = ends(cell, e)
        across = f"V({tail},{head})"
        base = int(cell.base_of[e])
        if all(curves[c].is_linear for c in (base, *at.values())):
            steps = step_text(at, lambda c: curves[c].slope_s[0], base, len(cases))
            replaced[e] = [f"B{e} {tail} {head} I={across}*{steps}"]
        else:
            terms = []
            for c in dict.fromkeys((base, *at.values())):
                on = {n: int(at.get(n, base) == c) for n in range(len(cases))}
                steps = step_text(on, float, int(base == c), len(cases))
                terms.append(f"{steps}*{curve_text(curves[c], across)}")
            replaced[e] = [f"B{e} {tail} {head} I={'+'.join(terms)}"]
    lines = ["campaign, one sweep", *body(cell, replaced), "Vcase case 0 0", ".control"]
    lines += ["set numdgt=9", "save " + " ".join(f"v(n{n})" for n in wanted)]
    lines += [f"dc Vcase 0 {len(cases) - 1} 1", "set nopage"]
    lines += [f"print v(n{n})" for n in wanted]
    return "\n".join([*lines, ".endc", ".end"]) + "\n"


def step_text(at, of, base: int, count: int) -> str:
    """Return a table over V(case) that holds one figure around each whole number."""
    points: list[tuple[float, float]] = [(-1.0, of(at.get(0, base)))]
    for n in range(count):
        figure = of(at.get(n, base))
        if figure != points[-1][1]:
            points += [(n - 0.6, points[-1][1]), (n - 0.4, figure)]
    points.append((count + 1.0, points[-1][1]))
    return "pwl(V(case), " + ", ".join(f"{x:.3f}, {y:.12g}" for x, y in points) + ")"


def ngspice_seconds(text: str) -> tuple[float, str]:
    """Return the processor time ngspice takes over a netlist, and what it printed."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "cell.cir"
        file.write_text(text, encoding="utf-8")
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(
            ["ngspice", "-b", str(file)], capture_output=True, text=True, check=False
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return spent, done.stdout


def ngspice_cases(
    text: str, count: int, wanted: list[int], idle: float
) -> tuple[float, np.ndarray]:
    """Return the time beyond an idle run, and (cases, nodes) voltages; NaN where it gave up."""
    spent, told = ngspice_seconds(text)
    rows = np.full((count, len(wanted)), np.nan)
    for k, n in enumerate(wanted):
        single = re.findall(rf"^v\(n{n}\) = (\S+)", told, re.MULTILINE)
        if len(single) == count:
            rows[:, k] = [float(v) for v in single]
    for table in re.split(r"^Index\s+", told, flags=re.MULTILINE)[1:]:
        name = re.search(r"v\(n(\d+)\)", table)
        if name and int(name.group(1)) in wanted:
            for number, _, v in re.findall(r"^(\d+)\s+(\S+)\s+(\S+)", table, re.MULTILINE):
                rows[int(number), wanted.index(int(name.group(1)))] = float(v)
    return spent - idle, rows


def sampled(cell: TreeCell, count: int, seed: int) -> list[tuple[int, int, int]]:
    """Return (channel, fault, state) of a sample of cases in their order, from a few channels.

    Few channels leave few elements that depend on the case, which suits the sweep.
    """
    rng = np.random.default_rng(seed)
    per = len(cell.channels[0].faults) * STATES
    some = np.sort(rng.choice(len(cell.channels), SAMPLE_CHANNELS, replace=False))
    rows = np.sort(rng.choice(per * SAMPLE_CHANNELS, count, replace=False))
    return [(int(some[r // per]), int(r) % per // STATES, int(r) % STATES) for r in rows]


def changes(cell: TreeCell, row: tuple[int, int, int]) -> dict[int, int]:
    """Return a case as element: curve, the fault having the say."""
    channel = cell.channels[row[0]]
    return dict([*channel.states[row[2]], *channel.faults[row[1]]])


def curves_of(cell: TreeCell, case: dict[int, int]) -> np.ndarray:
    """Return the (E,) curves of a case."""
    curve_of = cell.base_of.copy()
    curve_of[list(case)] = list(case.values())
    return curve_of


@dataclass(frozen=True)
class Measured:
    """Our own figures for one cell: processor seconds, and how the cases were certified."""

    cases: int
    base_s: float
    compile_s: float
    run_s: float
    certificate: np.ndarray
    residual_a: float

    @property
    def each_s(self) -> float:
        return self.run_s / self.cases

    @property
    def whole_s(self) -> float:
        """With base and compile, a case."""
        return (self.run_s + self.base_s + self.compile_s) / self.cases


def campaign_of(cell: TreeCell) -> Measured:
    """Run all faults in all local states of a cell, a few times."""
    from ringout.solve.campaign import Campaign, Neighbourhood

    areas = [Neighbourhood(c.faults, c.states, c.volts, (), c.limits) for c in cell.channels]
    start = time.process_time()
    campaign = Campaign(cell.network, cell.base_of[None, :])
    based = time.process_time()
    ready = campaign.compile(areas)
    compiled = time.process_time()
    runs = []
    for _ in range(RUNS):
        begun = time.process_time()
        result = ready.run()
        runs.append(time.process_time() - begun)
    return Measured(
        len(result.certificate),
        based - start,
        compiled - based,
        statistics.median(runs),
        np.bincount(result.certificate, minlength=4),
        float(result.residual_a.max()),
    )


def told(channels: int, cell: TreeCell, found: Measured, name: str) -> None:
    """Print our own figures."""
    local, hard, left, lost = found.certificate.tolist()
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"N = {channels}, {name} ({cell.network.node_count} nodes): {found.cases} cases, "
        f"{found.each_s * 1e6:.2f} us each ({1 / found.each_s:,.0f} a second), with base "
        f"({found.base_s * 1e3:.0f} ms) and compiling ({found.compile_s * 1e3:.0f} ms) "
        f"{found.whole_s * 1e6:.2f} us\n"
        f"  certified {local}, followed {hard}, left to the reference engine {left}, unsolved "
        f"{lost}; worst imbalance {found.residual_a:.1e} A; peak memory {memory:.0f} MB",
        flush=True,
    )


def referee(channels: int, cell: TreeCell, found: Measured) -> bool:
    """Let ngspice solve a sample, print the ratios, return whether they are as asked."""
    rows = sampled(cell, min(SAMPLE, found.cases), 1)
    some = [changes(cell, row) for row in rows]
    wanted = sorted({n for row in rows for n in cell.channels[row[0]].volts[0] if n})[:4]
    idle = min(ngspice_seconds(loop_netlist(cell, [], wanted))[0] for _ in range(2))
    curves = np.array([curves_of(cell, case) for case in some])
    ours = solve_cases(cell.network, curves).node_v[:, wanted]
    good = True
    ways = (("alter+op", loop_netlist), (".dc sweep", sweep_netlist))
    for (name, netlist), least in zip(ways, ASKED.get(channels, (None, None)), strict=True):
        spent, volts = ngspice_cases(netlist(cell, some, wanted), len(some), wanted, idle)
        each = spent / len(some)
        ratio = each / found.each_s
        enough = least is None or ratio >= least
        good &= enough
        asked = "" if least is None else f"; asked: {least:g}x  {'ok' if enough else 'TOO SLOW'}"
        off = np.abs(volts - ours)
        print(
            f"  ngspice {name}: {each * 1e3:.2f} ms each, {ratio:,.0f}x ours, "
            f"{each / found.whole_s:,.0f}x with base and compiling{asked}; "
            f"{np.isnan(off).any(axis=1).sum()} not solved, the others within "
            f"{np.nanmax(off, initial=0.0) * 1e3:.2f} mV",
            flush=True,
        )
    return good


def main() -> int:
    """Measure all sizes; the exit code says whether every ratio is as asked."""
    start = time.process_time()
    campaign_of(tree_cell(8))
    print(f"kernels ready after {time.process_time() - start:.1f} s of processor time")
    good = True
    each = {}
    for channels in [int(a) for a in sys.argv[1:]] or SIZES:
        cell = tree_cell(channels)
        found = campaign_of(cell)
        each[channels] = found.each_s
        told(channels, cell, found, "softened")
        if shutil.which("ngspice") is None:
            print("  ngspice is not here: no ratios")
        else:
            good &= referee(channels, cell, found)
        harder = tree_cell(channels, hard=True)
        told(channels, harder, campaign_of(harder), "harder")
    for a, b in pairwise(each):
        power = math.log(each[b] / each[a]) / math.log(b / a)
        print(f"from N = {a} to {b} the time of a case grows as N^{power:.2f}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
