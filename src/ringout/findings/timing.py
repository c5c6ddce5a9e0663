"""Filters against test pulses and bounce, and the shortest pulse that is surely seen."""

from __future__ import annotations

from collections.abc import Iterable

from ringout.base import Interval, Severity
from ringout.cell.model import Signal
from ringout.cell.part import ElementSpec
from ringout.circuit.model import Circuit
from ringout.findings.model import Finding, Quantity
from ringout.tables.timing import longest_bounce_s

TOO_FAST_S = 0.001  # below this a filter is meant for fast signals, and bounce is told


def input_timing_s(signal: Signal) -> tuple[Interval | None, Interval | None]:
    """Return filter and scan time of a signal's input in seconds, as far as known."""
    filter_s = signal.filter_s or signal.channel.values.get("filter")
    return filter_s, signal.channel.values.get("scan")


def judge_timing(circuit: Circuit) -> list[Finding]:
    """Return findings on test pulses, bounce and short pulses, signal by signal."""
    findings: list[Finding] = []
    for signal in circuit.cell.signals.values():
        if signal.on is None:
            continue
        findings += _pulses(circuit, signal)
        findings += _bounce(circuit, signal)
        findings += _shortest(signal)
    return findings


def _elements(circuit: Circuit, signal: Signal) -> Iterable[tuple[str, ElementSpec]]:
    assert signal.on is not None
    for name in dict.fromkeys(leaf.actor.split(".")[0] for leaf in signal.on.leaves()):
        for spec in circuit.cell.items[name].part.elements:
            yield name, spec


def _pulses(circuit: Circuit, signal: Signal) -> Iterable[Finding]:
    filter_s, _ = input_timing_s(signal)
    for item, spec in _elements(circuit, signal):
        pulse = spec.values.get("pulse")
        if pulse is None or filter_s is None or filter_s.low > pulse.high:
            continue
        every = spec.values.get("every")
        rhythm = f" every {every.typ * 1000:.0f} ms" if every is not None else ""
        yield Finding(
            "F601",
            Severity.ERROR,
            f"{signal.name}: {item} blinks off for up to {pulse.high * 1e6:.0f} us{rhythm} to test "
            f"itself, and the input filter of {filter_s.low * 1000:g} ms lets that through: the "
            f"signal will drop out again and again",
            (signal.filter_span or signal.channel_span, circuit.cell.items[item].part_span),
            signal.channel_name,
            (
                Quantity("test pulse", pulse.high * 1000, "ms"),
                Quantity("filter", filter_s.low * 1000, "ms"),
            ),
            "light-curtain-data",
            about=(("signal", signal.name), ("item", item)),
        )


def _bounce(circuit: Circuit, signal: Signal) -> Iterable[Finding]:
    filter_s, _ = input_timing_s(signal)
    for item, spec in _elements(circuit, signal):
        if spec.kind != "contact" or filter_s is None or filter_s.low >= TOO_FAST_S:
            continue
        bounce_s = longest_bounce_s(spec.words["bounce"]) if "bounce" in spec.words else 0.006
        if bounce_s <= filter_s.low:
            continue
        yield Finding(
            "F602",
            Severity.WARNING,
            f"{signal.name}: {item} bounces for up to {bounce_s * 1000:.0f} ms and the filter of "
            f"{filter_s.low * 1000:g} ms shows it: one press may count several times",
            (signal.filter_span or signal.channel_span,),
            signal.channel_name,
            (
                Quantity("bounce", bounce_s * 1000, "ms"),
                Quantity("filter", filter_s.low * 1000, "ms"),
            ),
            "switch-bounce-survey",
            about=(("signal", signal.name), ("item", item)),
        )
        return


def _shortest(signal: Signal) -> Iterable[Finding]:
    filter_s, scan_s = input_timing_s(signal)
    if signal.shortest_s is None or filter_s is None:
        return
    sure_s = filter_s.high + (scan_s.high if scan_s is not None else 0.0)
    if signal.shortest_s.low >= sure_s:
        return
    yield Finding(
        "F603",
        Severity.ERROR,
        f"{signal.name}: a pulse of {signal.shortest_s.low * 1000:g} ms may be missed; only pulses "
        f"from {sure_s * 1000:g} ms (filter plus one scan) are surely seen",
        (signal.span,),
        signal.channel_name,
        (
            Quantity("pulse", signal.shortest_s.low * 1000, "ms"),
            Quantity("surely seen from", sure_s * 1000, "ms"),
        ),
        "pulse-filter-plus-scan",
        about=(("signal", signal.name),),
    )


def judge_safety(circuit: Circuit) -> list[Finding]:
    """Return a note for every safety device that is read by an ordinary input."""
    findings: list[Finding] = []
    for signal in circuit.cell.signals.values():
        if signal.on is None:
            continue
        if circuit.cell.items[signal.item].part.facts.get("safety") == "controller":
            continue
        for item in dict.fromkeys(leaf.actor.split(".")[0] for leaf in signal.on.leaves()):
            part = circuit.cell.items[item].part
            safety = part.facts.get("safety", "") or next(
                (s.words["safety"] for s in part.elements if "safety" in s.words), ""
            )
            if not safety:
                continue
            findings.append(
                Finding(
                    "F801",
                    Severity.NOTE,
                    f"{signal.name} is status only: {item} is a safety device and "
                    f"{signal.channel_name} is an ordinary input. Use it to show or to wait, never "
                    f"to protect anybody",
                    (signal.span,),
                    signal.channel_name,
                    (),
                    "iso-13849-1",
                    about=(("signal", signal.name), ("item", item)),
                )
            )
    return findings
