"""Signals judged: verdict, levels, and a finding for each that does not surely work."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ringout.base import Severity, Span
from ringout.base.quantity import format_plain
from ringout.circuit.curves import inverse
from ringout.circuit.model import TYP, Circuit
from ringout.findings.driven import Tell, glows, load_findings
from ringout.findings.feeds import commons_of
from ringout.findings.interlocks import at_rest_by_hand, only_words
from ringout.findings.levels import LevelSurvey, SignalStates
from ringout.findings.limits import LAMP_SHOWS_FROM_A
from ringout.findings.model import Finding, Level, Quantity, SignalResult

COMFORT_V = 0.5  # house rule: a margin below this is called marginal


def judge_signals(
    circuit: Circuit, levels: LevelSurvey
) -> tuple[list[SignalResult], list[Finding]]:
    """Judge every signal of the cell.

    Returns:
        One result per signal, in file order, and the findings on levels.
    """
    results: list[SignalResult] = []
    findings: list[Finding] = []
    for signal in circuit.cell.signals.values():
        states = levels.by_name.get(signal.name)
        if states is None:
            results.append(
                SignalResult(
                    signal.name,
                    signal.channel_name,
                    "input" if signal.on else "output",
                    "undecided",
                    None,
                    None,
                    None,
                    None,
                    signal.span,
                    signal.item,
                )
            )
            continue
        result = _result(circuit, states)
        results.append(result)
        findings += _findings(circuit, states, result)
    return results, findings


def level(circuit: Circuit, states: SignalStates, *, wanted: bool) -> Level | None:
    """Return the guaranteed level over all states in which the signal should be `wanted`."""
    rows = np.flatnonzero(states.wanted_on == wanted)
    if not rows.size:
        return None
    low, high = states.v_low[rows], states.v_high[rows]
    if wanted:
        worst = int(rows[np.argmin(low)])
        limit = states.limits.on_v
        margin = float(np.min(low)) - limit if limit is not None else float("nan")
    else:
        worst = int(rows[np.argmax(high)])
        limit = states.limits.off_v
        margin = limit - float(np.max(high)) if limit is not None else float("nan")
        if states.dark_a:
            margin = _dark_margin_v(circuit, states)
    return Level(
        float(np.min(low)),
        float(states.v_typ[worst]),
        float(np.max(high)),
        float(states.i_typ_a[worst]) * 1000.0,
        margin,
        bool(states.proven[rows].all()),
        states.describe(circuit, worst),
    )


def _dark_margin_v(circuit: Circuit, states: SignalStates) -> float:
    """Return how far a lamp is from glowing: judged by its current, told on its typical curve."""
    spec = circuit.elements[states.element].spec
    assert spec is not None
    shows = spec.values["shows_from"].low if "shows_from" in spec.values else LAMP_SHOWS_FROM_A
    curve = circuit.network.curves.curves[int(circuit.on_curve[TYP, states.element])]
    return inverse(curve, shows) - inverse(curve, max(states.dark_a.values()))


def comfort_v(states: SignalStates) -> float:
    """Return the margin below which a signal is called marginal: a twentieth of a narrow window."""
    on_v, off_v = states.limits.on_v, states.limits.off_v
    if on_v is None or off_v is None:
        return COMFORT_V
    return min(COMFORT_V, 0.05 * abs(on_v - off_v))


def _result(circuit: Circuit, states: SignalStates) -> SignalResult:
    on, off = level(circuit, states, wanted=True), level(circuit, states, wanted=False)
    signal = states.signal
    margins = [x.margin_v for x in (on, off) if x is not None]
    firm = [on.margin_v] if on is not None else margins  # what a faint glow does not spoil
    solved = all(np.isfinite(m) for m in margins) and bool(margins)
    proven = all(x.proven for x in (on, off) if x is not None)
    floats = signal.on is not None and bool(states.floats.any())
    if not solved or not states.complete:
        verdict = "undecided"
    elif floats or any(m < 0 for m in (firm if glows(states, off) else margins)):
        verdict = "fails"
    elif not proven:
        verdict = "undecided"
    elif glows(states, off) or min(firm if states.dark_a else margins) < comfort_v(states):
        verdict = "marginal"
    else:
        verdict = "works"
    return SignalResult(
        signal.name,
        signal.channel_name,
        "input" if signal.on else "output",
        verdict,
        on,
        off,
        states.limits.on_v,
        states.limits.off_v,
        signal.span,
        signal.item,
    )


def _quantities(result: SignalResult) -> tuple[Quantity, ...]:
    out: list[Quantity] = []
    for name, found, limit in (
        ("on", result.on, result.on_limit_v),
        ("off", result.off, result.off_limit_v),
    ):
        if found is not None:
            out += [
                Quantity(f"{name} level lowest", found.v_low, "V"),
                Quantity(f"{name} level typical", found.v_typ, "V"),
                Quantity(f"{name} level highest", found.v_high, "V"),
            ]
        if limit is not None:
            out.append(Quantity(f"{name} limit", limit, "V"))
    return tuple(out)


def lone(circuit: Circuit, states: SignalStates) -> bool:
    """Return whether nothing but the channel itself is on its own pin."""
    element = circuit.elements[states.element]
    item = circuit.cell.items[element.item]
    part, spec = item.part, element.spec
    assert spec is not None
    reachable = set(part.terminals.values())
    reachable |= {n for s in part.sockets.values() for n in s.pins.values()}
    for net in (spec.tail, spec.head):
        if net not in reachable:
            continue
        node = circuit.node_of_net[(item.name, net)]
        if not any(
            node in (other.tail, other.head) and other.item != item.name
            for other in circuit.elements
        ):
            return True
    return False


def _findings(circuit: Circuit, states: SignalStates, result: SignalResult) -> Iterable[Finding]:
    signal = states.signal
    place = signal.channel_name
    where = (signal.channel_span, *_item_spans(circuit, states))
    about = (("signal", signal.name),)
    numbers = _quantities(result)
    source = states.limits.source

    def finding(code: str, severity: Severity, message: str) -> Finding:
        return Finding(code, severity, message, where, place, numbers, source, about=about)

    yield from _too_high(circuit, states, finding)
    if states.taken.any():
        yield _interlocked(circuit, states, finding)
    if result.verdict == "works":
        return
    if result.verdict == "undecided":
        reason = _undecided(states)
        yield finding("F110", Severity.WARNING, f"{signal.name} ({place}) is undecided: {reason}")
    elif signal.on is None:
        yield from load_findings(states, result, finding)
    elif lone(circuit, states):
        yield finding(
            "F107",
            Severity.ERROR,
            f"{signal.name} is named on {place}, but nothing is wired to that channel",
        )
    else:
        yield from _input_findings(circuit, states, result, finding)


def _interlocked(circuit: Circuit, states: SignalStates, tell: Tell) -> Finding:
    """Return that contacts can take the load away: worth a word, and more if they do at rest."""
    works = states.wanted_on
    at_rest = not (at_rest_by_hand(circuit, states.columns, states.positions) & works).any()
    when = only_words(circuit, states.columns, states.positions, works, states.taken)
    more = "; as the cell stands at rest it does not" if at_rest else ""
    return tell(
        "F307",
        Severity.WARNING if at_rest else Severity.NOTE,
        f"{states.signal.drives} works {when}, whatever {states.signal.channel_name} does{more}",
    )


def _undecided(states: SignalStates) -> str:
    if not states.complete:
        return "too many combinations to try them all"
    if states.limits.on_v is None or states.limits.off_v is None:
        return f"the part of {states.signal.item} gives no limits to judge it by"
    if not (np.isfinite(states.v_low).all() and np.isfinite(states.v_high).all()):
        return "a worst case of it could not be solved"
    return "the worst case could not be proven"


def _too_high(circuit: Circuit, states: SignalStates, tell: Tell) -> Iterable[Finding]:
    spec = circuit.elements[states.element].spec
    highest = float(np.max(states.v_high, initial=-np.inf))
    if spec is None or "max_v" not in spec.values or not np.isfinite(highest):
        return
    if highest <= spec.values["max_v"].low:
        return
    yield tell(
        "F205",
        Severity.ERROR,
        f"{states.signal.channel_name} can get {highest:.1f} V; it stands "
        f"{spec.values['max_v'].low:.0f} V. Supplies in series or one too high",
    )


def _input_findings(
    circuit: Circuit, states: SignalStates, result: SignalResult, tell: Tell
) -> Iterable[Finding]:
    floating = np.flatnonzero(states.floats)
    name, place = states.signal.name, states.signal.channel_name
    if floating.size:
        row = int(floating[0])
        yield tell(
            "F106",
            Severity.ERROR,
            f"{name} floats: nothing holds {place} while {states.describe(circuit, row)}; it may "
            f"read on or off by chance. Turning it round in the program cures nothing",
        )
        return
    on, off = result.on, result.off
    on_v, off_v = states.limits.on_v, states.limits.off_v
    if on_v is None or off_v is None:
        return
    if on is not None and off is not None and off.v_typ >= on_v and on.v_typ <= off_v:
        yield tell(
            "F105",
            Severity.ERROR,
            f"{name} is inverted: {place} is on ({off.v_typ:.1f} V) while {off.worst_while} "
            f"and off while {on.worst_while}",
        )
        return
    if on is not None:
        why = _never_there(circuit, states) or _wrong_common(circuit, states)
        yield from _on_findings(states, on, (on_v, off_v), tell, why)
    if off is not None:
        yield from _off_findings(states, off, (on_v, off_v), tell)


def _wrong_common(circuit: Circuit, states: SignalStates) -> str:
    """Return words on a common that is on the pole its devices bring to the channel too."""
    rows = np.flatnonzero(states.wanted_on)
    ends_v = states.ends_v[rows]
    if not rows.size or not np.isfinite(ends_v).all():
        return ""
    same = np.abs(ends_v[:, 0] - ends_v[:, 1]) < 1.0
    if not (same & (np.abs(ends_v) > 15.0).all(axis=1)).any():
        return ""
    item = circuit.cell.items[states.signal.item]
    found = next((c for c in commons_of(item) if states.signal.channel in c[2]), None)
    if found is None:
        return ""
    name = circuit.network.node_names[circuit.node_of_net[(item.name, found[1])]]
    return (
        f". Both ends of the channel are at {ends_v[0, 0]:.0f} V: its common {name} is on the pole "
        f"that the device brings too; put the common on the other pole"
    )


def _never_there(circuit: Circuit, states: SignalStates) -> str:
    """Return words on a relay that never comes to the position the signal follows from."""
    assert states.signal.on is not None
    for leaf in states.signal.on.leaves():
        column = circuit.actor_index[leaf.actor]
        actor = circuit.actors[column]
        wanted = actor.positions.index(leaf.position)
        if actor.moved_by == "coil" and not (states.positions[:, column] == wanted).any():
            return f". {leaf.actor} is {leaf.position} in no state: see what should work it"
    return ""


def _on_findings(
    states: SignalStates, on: Level, limits: tuple[float, float], tell: Tell, why: str
) -> Iterable[Finding]:
    name, place = states.signal.name, states.signal.channel_name
    on_v, off_v = limits
    if on.v_typ <= off_v:
        good = states.wanted_on & (states.v_low >= on_v)
        never = "does not always come on" if good.any() else "never comes on"
        yield tell(
            "F101",
            Severity.ERROR,
            f"{name} {never}: {place} has {format_plain(on.v_typ, 'V', decimals=1)} while "
            f"{on.worst_while}, on needs {on_v:.1f} V{why}",
        )
    elif on.margin_v < 0:
        yield tell(
            "F102",
            Severity.ERROR,
            f"{name} is not surely on: {place} gets {on.v_low:.1f} V at worst "
            f"({on.v_typ:.1f} V typical) while {on.worst_while}, on needs {on_v:.1f} V",
        )
    elif on.margin_v < comfort_v(states):
        yield tell(
            "F108",
            Severity.WARNING,
            f"{name} comes on with only {on.margin_v:.2f} V to spare on {place} "
            f"while {on.worst_while}",
        )


def _off_findings(
    states: SignalStates, off: Level, limits: tuple[float, float], tell: Tell
) -> Iterable[Finding]:
    name, place = states.signal.name, states.signal.channel_name
    on_v, off_v = limits
    if off.v_typ >= on_v:
        yield tell(
            "F104",
            Severity.ERROR,
            f"{name} never goes off: {place} still has {off.v_typ:.1f} V "
            f"while {off.worst_while}, off needs {off_v:.1f} V or less",
        )
    elif off.margin_v < 0:
        yield tell(
            "F103",
            Severity.ERROR,
            f"{name} is not surely off: {place} still has {off.v_typ:.1f} V typical, "
            f"{off.v_high:.1f} V at worst, while {off.worst_while}; off needs {off_v:.1f} V "
            f"or less",
        )
    elif off.margin_v < comfort_v(states):
        yield tell(
            "F109",
            Severity.WARNING,
            f"{name} goes off with only {off.margin_v:.2f} V to spare on {place} "
            f"while {off.worst_while}",
        )


def _item_spans(circuit: Circuit, states: SignalStates) -> list[Span]:
    return [circuit.cell.items[n].part_span for n in states.signal.devices]
