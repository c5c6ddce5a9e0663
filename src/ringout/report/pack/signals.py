"""One page for each signal: drawing, levels with their margins, what a meter shows, cures."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from ringout.cell.model import Cell, Signal, Terminal
from ringout.circuit.compile import compile_circuit
from ringout.circuit.model import Circuit
from ringout.findings.levels import level_element
from ringout.findings.model import Finding, Judgement, Level, Margin, SignalResult
from ringout.report.drawing import build_circuit_view, draw_circuit
from ringout.report.pack.cures import is_fitted, without_cures
from ringout.report.pack.model import LevelRow, Note, SignalPage
from ringout.report.pack.pictures import WIDE_MM, picture
from ringout.report.sheet_model import IoRow, Sheet
from ringout.report.sheet_nets import Nets

DRAWING_HIGH_MM = 218.0


def signal_pages(cell: Cell, judgement: Judgement | None, sheet: Sheet) -> tuple[SignalPage, ...]:
    """Return the page of every signal, in the order of the file.

    Args:
        cell: the cell.
        judgement: its judgement; without one the drawings stand alone.
        sheet: its connection sheet.
    """
    circuit = compile_circuit(cell)
    nets = Nets(cell)
    results = {r.name: r for r in judgement.signals} if judgement else {}
    findings = judgement.findings if judgement else ()
    rows = {row.signal: row for row in sheet.io if row.signal}
    spared = without_cures(cell, findings) if judgement else ()
    return tuple(
        _page(
            circuit,
            nets,
            signal,
            results.get(signal.name),
            (findings, spared),
            rows.get(signal.name),
        )
        for signal in cell.signals.values()
    )


def _page(
    circuit: Circuit,
    nets: Nets,
    signal: Signal,
    result: SignalResult | None,
    told: tuple[Sequence[Finding], Sequence[Finding]],
    row: IoRow | None,
) -> SignalPage:
    """Return one page; `told` holds what is found, and what else would be without the cures."""
    cell = circuit.cell
    findings, spared = told
    view = build_circuit_view(cell, signal, circuit=circuit)
    sheets = draw_circuit(view, width_mm=WIDE_MM, height_mm=DRAWING_HIGH_MM)
    items = tuple(i.name for i in view.items)
    cables = tuple(c.name for c in view.cables)
    names = {signal.name, signal.channel_name, *items}
    fitted = tuple(
        (n, cell.items[n].note or cell.items[n].part.title)
        for n in items
        if n in cell.items and is_fitted(cell.items[n])
    )
    return SignalPage(
        name=signal.name,
        channel=signal.channel_name,
        kind=signal.channel.kind,
        meaning=row.meaning if row is not None else "",
        rule=f"on while {signal.on}" if signal.on is not None else f"drives {signal.drives}",
        verdict=result.verdict if result is not None else "not run",
        pictures=tuple(picture(s) for s in sheets),
        levels=_levels(circuit, nets, signal, result),
        notes=tuple(note(f) for f in findings if _about(f, names, signal)),
        items=items,
        cables=cables,
        parts=fitted,
        without=tuple(
            f"{f.severity} {f.code}: {f.message}" for f in spared if _about(f, names, signal)
        )
        if fitted
        else (),
    )


def _about(finding: Finding, names: set[str], signal: Signal) -> bool:
    """Return whether a finding belongs on the page of a signal."""
    told = finding.get("signal")
    if told:
        return told == signal.name
    shared = {n for n in names if n == finding.place or n == finding.get("item")}
    feeding = finding.place.partition(".")[0] == signal.item
    return bool(shared - {signal.item}) or (feeding and finding.place == signal.channel_name)


def note(found: Finding) -> Note:
    """Return a finding with the cure a fitter would take: the first proven one."""
    chosen = next((r for r in found.remedies if r.proven), None)
    return Note(
        code=found.code,
        severity=str(found.severity),
        place=found.place,
        message=found.message,
        cure=chosen.text if chosen is not None else "",
        edits=chosen.edit if chosen is not None else (),
        margins=tuple(t for m in chosen.margins if (t := _margin(m))) if chosen else (),
        where=f"line {found.where[0].line}" if found.where else "",
        source=found.source,
        accepted=found.accepted,
    )


def _margin(m: Margin) -> str:
    pairs = (("on", m.on_before_v, m.on_after_v), ("off", m.off_before_v, m.off_after_v))
    words = [
        f"{word} {'none' if before is None else f'{before:+.1f}'} → {after:+.1f} V"
        for word, before, after in pairs
        if after is not None
    ]
    return f"{m.signal}: {', '.join(words)}" if words else ""


def _levels(
    circuit: Circuit, nets: Nets, signal: Signal, result: SignalResult | None
) -> tuple[LevelRow, ...]:
    if result is None:
        return ()
    red, black = _probes(circuit, nets, signal)
    rule = str(signal.on) if signal.on is not None else f"{signal.channel_name} on"
    rows = []
    for level, when, limit_v, word in (
        (result.on, f"ON: {rule}", result.on_limit_v, "at least"),
        (result.off, "OFF: every other state", result.off_limit_v, "at most"),
    ):
        if level is not None:
            limit = f"{word} {limit_v:.1f} V" if limit_v is not None else "-"
            rows.append(_level_row(level, when, limit, red, black))
    return tuple(rows)


def _level_row(level: Level, when: str, limit: str, red: str, black: str) -> LevelRow:
    return LevelRow(
        when,
        red,
        black,
        _volts(level.v_typ),
        f"{_volts(level.v_low)} to {_volts(level.v_high)}",
        f"{round(level.i_typ_ma, 2) + 0.0:.2f} mA" if math.isfinite(level.i_typ_ma) else "-",
        limit,
        f"{level.margin_v:+.2f} V" if math.isfinite(level.margin_v) else "-",
        level.worst_while,
        level.proven,
    )


def _volts(value: float) -> str:
    return f"{round(value, 2) + 0.0:.2f} V" if math.isfinite(value) else "not solved"


def _probes(circuit: Circuit, nets: Nets, signal: Signal) -> tuple[str, str]:
    """Return where a meter sees the level the signal is judged on; landed terminals come first."""
    index = level_element(circuit, signal)
    if index < 0:
        return "", ""
    element = circuit.elements[index]
    if element.spec is None or element.item not in circuit.cell.items:
        return "", ""
    item = circuit.cell.items[element.item]
    first, second = (nets.terminals_on(item, n) for n in (element.spec.tail, element.spec.head))
    red = _nearest(first, nets, "")
    black = _nearest(second, nets, red.socket if red is not None else "")
    return str(red or ""), str(black or "")


def _nearest(found: Iterable[Terminal], nets: Nets, socket: str) -> Terminal | None:
    """Return a terminal to hold a probe on: of the wanted socket and landed, if there is one."""
    ranked = sorted(found, key=lambda t: (socket not in ("", t.socket), t not in nets.joins_at))
    return ranked[0] if ranked else None
