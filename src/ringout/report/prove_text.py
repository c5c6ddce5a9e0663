"""The `prove` answer for a terminal: verdict first, then findings with cures, then margins."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Sequence

from ringout.base import Severity
from ringout.base.counted import counted
from ringout.base.quantity import format_plain, format_quantity
from ringout.findings.model import Finding, Judgement, Level, Margin, Remedy, SignalResult

Paint = Callable[[str, str], str]
WIDTH = 96
LEAST_A = 1e-5  # below that a branch carries nothing worth the name


def plain(text: str, style: str) -> str:
    """Return the text unpainted: for files, pipes and terminals without colour."""
    del style
    return text


def prove_lines(
    cell: str, judgement: Judgement, paint: Paint = plain, *, unused: int = 0
) -> list[str]:
    """Return the answer as lines.

    Args:
        cell: the cell's name.
        judgement: the judgement.
        paint: puts a text into a style (`error`, `warning`, `note`, `good`, `head`, `dim`).
        unused: lines of the file that could not be used.
    """
    lines: list[str] = []
    for found in judgement.findings:
        lines += finding_lines(found, paint)
        lines.append("")
    lines += signal_table(judgement.signals, paint)
    lines.append("")
    lines += branch_table(judgement)
    for check in judgement.not_run:
        lines.append(paint(f"not run: {check.check}: {check.why}", "warning"))
    lines += verdict_lines(cell, judgement, paint, unused=unused)
    return lines


def _wrap(text: str, indent: str, first: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def finding_lines(found: Finding, paint: Paint) -> list[str]:
    """Return one finding: place, sentence, remedies."""
    where = str(found.where[0]) if found.where else ""
    head = f"{where}: " if where else ""
    title = paint(f"{found.severity}[{found.code}]", str(found.severity))
    lines = [f"{head}{title} {found.place}"]
    lines += _wrap(found.message, "  ")
    for span in found.where[1:4]:
        lines.append(paint(f"  see {span}", "dim"))
    if found.source:
        lines.append(paint(f"  source: {found.source}", "dim"))
    for remedy in found.remedies:
        lines += _remedy_lines(remedy, paint)
    return lines


def _remedy_lines(remedy: Remedy, paint: Paint) -> list[str]:
    mark = "cure (solved again): " if remedy.proven else "try (not proven): "
    body = _wrap(mark + remedy.text, "      ", "  ")
    label = paint(f"  {mark}", "good" if remedy.proven else "warning")
    lines = [label + body[0][len(mark) + 2 :], *body[1:]]
    for old, new in remedy.edit:
        if old:
            lines.append(paint(f"      was: {old}", "dim"))
        lines.append(paint(f"      now: {new}", "dim"))
    lines += [f"      {text}" for m in remedy.margins if (text := _margin_text(m))]
    return lines


def _margin_text(m: Margin) -> str:
    parts = []
    for word, before, after in (
        ("on", m.on_before_v, m.on_after_v),
        ("off", m.off_before_v, m.off_after_v),
    ):
        if after is not None:
            old = f"{before:+.1f}" if before is not None else "none"
            parts.append(f"{word} {old} -> {after:+.1f} V")
    return f"margins of {m.signal}: {', '.join(parts)}" if parts else ""


def _level_cells(level: Level | None) -> list[str]:
    if level is None:
        return ["-", "-", "-"]
    return [
        f"{format_plain(level.v_low)}..{format_plain(level.v_high)}",
        format_plain(level.i_typ_ma),
        f"{level.margin_v:+.2f}" + ("" if level.proven else " ?"),
    ]


def signal_table(signals: Sequence[SignalResult], paint: Paint) -> list[str]:
    """Return the table of signals with guaranteed levels."""
    head = ["signal", "channel", "verdict", "on V", "mA", "margin", "off V", "mA", "margin"]
    rows = [
        [s.name, s.channel, s.verdict, *_level_cells(s.on), *_level_cells(s.off)] for s in signals
    ]
    if not rows:
        return ["no signals: name them under `signals:` to have them judged"]
    lines = table([head, *rows], right={3, 4, 5, 6, 7, 8})
    lines[0] = paint(lines[0], "head")
    style = {"works": "good", "marginal": "warning", "fails": "error", "undecided": "warning"}
    return [lines[0]] + [
        line.replace(s.verdict, paint(s.verdict, style[s.verdict]), 1)
        for line, s in zip(lines[1:], signals, strict=True)
    ]


def branch_table(judgement: Judgement) -> list[str]:
    """Return what supplies and branches carry."""
    if not judgement.branches:
        return []
    rows = [["branch", "at rest", "all on, worst", "allows"]]
    rows += [
        [
            b.name,
            _amps(b.rest_a),
            _amps(b.high_a),
            format_quantity(b.limit_a, "amps") if b.limit_a < 1e6 else "no limit",
        ]
        for b in judgement.branches
    ]
    return [*table(rows, right={1, 2, 3}), ""]


def _amps(value_a: float) -> str:
    """Return a current as a clamp or a meter in the branch shows it: no leakage of nanoamperes."""
    return format_quantity(value_a if abs(value_a) >= LEAST_A else 0.0, "amps")


def table(rows: Sequence[Sequence[str]], right: Iterable[int] = ()) -> list[str]:
    """Return rows as aligned lines; columns in `right` are set flush right."""
    flush = set(right)
    widths = [max(len(r[c]) for r in rows) for c in range(len(rows[0]))]
    return [
        "  ".join(
            cell.rjust(widths[c]) if c in flush else cell.ljust(widths[c])
            for c, cell in enumerate(row)
        ).rstrip()
        for row in rows
    ]


def verdict_lines(cell: str, judgement: Judgement, paint: Paint, *, unused: int = 0) -> list[str]:
    """Return the closing lines: what was solved and what it says."""
    count = {s: sum(f.severity is s for f in judgement.findings) for s in Severity}
    works = sum(s.verdict == "works" for s in judgement.signals)
    balance = f"current balance within {judgement.worst_residual_a * 1e9:.2g} nA"
    lines = [f"{judgement.states} states solved, {balance}"]
    told = (Severity.ERROR, Severity.WARNING, Severity.NOTE)
    summary = f"{cell}: {works} of {len(judgement.signals)} signals work; "
    summary += ", ".join(counted(count[s], str(s)) for s in told)
    if judgement.not_run:
        did_not = counted(len(judgement.not_run), "check did", "checks did")
        summary += f"; {did_not} not run"
    if unused:
        one, more = "line is not used as it stands", "lines are not used as they stand"
        summary += f"; incomplete: {counted(unused, one, more)}"
    good = not count[Severity.ERROR] and not judgement.not_run and not unused
    lines.append(paint(summary, "good" if good else "error"))
    return lines
