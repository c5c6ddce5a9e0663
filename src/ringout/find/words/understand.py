"""Sentences to observations: the doors of this package."""

from __future__ import annotations

import re
from dataclasses import replace

from ringout.base import Diagnostic, Severity, Span
from ringout.base.span import ASKED
from ringout.cell.model import Cell
from ringout.find.model import Observation
from ringout.find.words.deeds import is_deed, is_proof, read_deed, read_proof
from ringout.find.words.history import read_history
from ringout.find.words.names import Names
from ringout.find.words.reading import find_pair, one_place, read_reading
from ringout.find.words.seen import read_seen
from ringout.find.words.sentence import LONGEST, Sentence, UnclearError
from ringout.find.words.standing import read_standing

MOST_LINES = 500
_NEXT = re.compile(r"[;\n]")


def understand(cell: Cell, text: str) -> tuple[Observation | None, list[Diagnostic]]:
    """Return what one sentence says, or one problem that says how far it was understood.

    Args:
        cell: the cell that is spoken about.
        text: the sentence.

    Returns:
        The observation and no problem, or None and one problem.
    """
    found, problems = understand_all(cell, text)
    if problems:
        return None, problems[:1]
    if len(found) > 1:
        message = f"this says {len(found)} things at once"
        fix = f"say one at a time, as in `{found[0].understood}`"
        span = Span(ASKED, 1, 1, 1 + len(text))
        return None, [Diagnostic("N317", Severity.ERROR, message, span, fix=fix)]
    if not found:
        span = Span(ASKED, 1, 1, 1)
        message, fix = "nothing is said", Names(cell).example()
        return None, [Diagnostic("N316", Severity.ERROR, message, span, fix=fix)]
    return found[0], []


def understand_all(cell: Cell, text: str) -> tuple[list[Observation], list[Diagnostic]]:
    """Return everything that sentences parted by `;` say, groups taken apart.

    Args:
        cell: the cell that is spoken about.
        text: the sentences.

    Returns:
        The observations, and one problem for each sentence that is not understood.
    """
    return _line(Names(cell), text, Span(ASKED, 1, 1))


def understand_file(
    cell: Cell, text: str, *, file: str = ASKED
) -> tuple[list[Observation], list[Diagnostic]]:
    """Return what a file of sentences says: one a line, remarks behind `#`.

    Args:
        cell: the cell that is spoken about.
        text: the file.
        file: its name, for the places of problems.

    Returns:
        The observations, and one problem for each sentence that is not understood.
    """
    names = Names(cell)
    found: list[Observation] = []
    problems: list[Diagnostic] = []
    lines = text.removeprefix("\ufeff").splitlines()
    for number, line in enumerate(lines[:MOST_LINES], start=1):
        more, wrong = _line(names, line, Span(file, number, 1))
        found += more
        problems += wrong
    if len(lines) > MOST_LINES:
        message = f"only the first {MOST_LINES} lines are read"
        span = Span(file, MOST_LINES + 1, 1)
        problems.append(
            Diagnostic("N316", Severity.ERROR, message, span, fix="keep what matters most")
        )
    return found, problems


def _line(names: Names, line: str, span: Span) -> tuple[list[Observation], list[Diagnostic]]:
    found: list[Observation] = []
    problems: list[Diagnostic] = []
    start = 0
    cut = line.find("#") if line.lstrip().startswith("#") else len(line)
    remark = re.search(r"\s#", line)
    cut = min(cut, remark.start() if remark is not None else len(line))
    ends = [m.start() for m in _NEXT.finditer(line, 0, cut)]
    for end in [*ends, cut]:
        piece = line[start:end]
        if piece.strip():
            sentence = Sentence(piece[: 2 * LONGEST])
            try:
                found += _sentence(sentence, names, piece.strip())
            except UnclearError as unclear:
                problems.append(_diagnostic(unclear, sentence, piece, span.part(start, end)))
        start = end + 1
    return found, problems


def _sentence(sentence: Sentence, names: Names, text: str) -> list[Observation]:
    if len(text) > LONGEST:
        raise UnclearError(
            "N316",
            f"this is longer than {LONGEST} characters",
            (0, LONGEST),
            "say one thing in one sentence",
        )
    history = read_history(sentence, text)
    if history is not None:
        return [history]
    if is_deed(sentence):
        found = [read_deed(sentence, names, text)]
    else:
        standing = read_standing(sentence, names)
        pair = find_pair(sentence, standing)
        if pair is not None:
            found = [read_reading(sentence, names, standing, pair, text)]
        elif is_proof(sentence):
            found = [read_proof(sentence, names, standing, text)]
        else:
            alone = one_place(sentence)
            if alone is not None:
                raise _second_place(alone.text, (alone.start, alone.end), names)
            found = read_seen(sentence, names, standing, text)
    if sentence.taken:
        remark = f" (taken: {', '.join(sentence.taken)})"
        found = [replace(o, understood=o.understood + remark) for o in found]
    return found


def _second_place(word: str, place: tuple[int, int], names: Names) -> UnclearError:
    terminal = names.terminal(word, place)
    poles = [i.name for i in names.cell.items.values() if i.part.family == "supply"]
    second = f"{poles[0]}:-" if poles and f"{poles[0]}:-" in names.terminals else "B"
    return UnclearError(
        "N317",
        f"{terminal} to where? a meter has two probes",
        place,
        f"say both places, as in `{terminal} to {second} = 0.4 V`",
    )


def _diagnostic(unclear: UnclearError, sentence: Sentence, piece: str, span: Span) -> Diagnostic:
    message = unclear.message
    if sentence.pieces:
        message += f"; understood so far: `{', '.join(sentence.pieces)}`"
    bare = len(piece) - len(piece.lstrip())
    start, end = unclear.place or (bare, len(piece.rstrip()))
    place = span.part(start, max(end, start))
    return Diagnostic(unclear.code, Severity.ERROR, message, place, fix=unclear.fix or None)
