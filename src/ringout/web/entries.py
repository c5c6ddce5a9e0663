"""What is typed into forms, as edits of the cell file: items, cables, joins, signals, removal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ringout.base import Diagnostic
from ringout.cell.catalogue import find_part
from ringout.cell.edit import free_name
from ringout.cell.model import Cell
from ringout.cellfile.write import AddEntry, AddLine, Edit, EditError, Remove, rewrite
from ringout.web.checking import check_text, fresh_errors
from ringout.web.landing import land
from ringout.web.session import Session

SECTIONS = ("items", "cables", "joins", "signals", "expect")
Words = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Done:
    """What came of an entry: the new digest and what was added, or why nothing was.

    Args:
        digest: digest of the file as written; empty when nothing was written.
        text: what was added, in words.
        troubles: why nothing was written.
        stale: the file is no longer the one the form was made from.
    """

    digest: str
    text: str
    troubles: tuple[str, ...] = ()
    stale: bool = False


def enter(session: Session, digest: str, kind: str, words: Words) -> Done:
    """Write an entry into the cell file, all of it or nothing; comments and order stay.

    Args:
        session: the bench.
        digest: digest of the file the form was made from.
        kind: `device`, `item`, `cable`, `join`, `cores`, `signal`, `expect` or `remove`.
        words: what was typed, by field.
    """
    text, found = session.read()
    if found != digest:
        why = "the file was changed meanwhile; look at it again and repeat"
        return Done("", "", (why,), stale=True)
    cell, before = check_text(session, text)
    try:
        edits, said = _edits(cell, kind, {k: v.strip() for k, v in words.items()})
        new = rewrite(text, edits)
    except EditError as problem:
        return Done("", "", (str(problem),))
    _, after = check_text(session, new)
    wrong = fresh_errors(before, after)
    if wrong:
        return Done("", "", tuple(p.message + (f" ({p.fix})" if p.fix else "") for p in wrong))
    done = session.save(new, digest)
    if isinstance(done, Diagnostic):
        return Done("", "", (done.message,), stale=done.code == "T028")
    return Done(done, said)


def _edits(cell: Cell | None, kind: str, words: Words) -> tuple[Sequence[Edit], str]:
    makers = {
        "device": land,
        "item": _item,
        "cable": _cable,
        "join": _join,
        "cores": _cores,
        "signal": _signal,
        "expect": _expect,
        "remove": _remove,
    }
    if kind not in makers:
        raise EditError(f"there is no form for `{kind}`")
    return makers[kind](cell, words)


def _needed(words: Words, name: str, what: str) -> str:
    found = words.get(name, "")
    if not found:
        raise EditError(f"{what} is missing")
    return found


def _free(cell: Cell | None, letter: str) -> str:
    return free_name(cell, letter) if cell is not None else f"{letter}1"


def _item(cell: Cell | None, words: Words) -> tuple[Sequence[Edit], str]:
    part = _needed(words, "part", "the part")
    found = find_part(part, None, cell.folder if cell is not None else "")
    name = words.get("name") or _free(cell, found.letter if found is not None else "X")
    values: dict[str, str | Sequence[str]] = {"part": part}
    for line in words.get("settings", "").replace(";", "\n").splitlines():
        key, _, value = line.partition(":")
        if not value.strip():
            if line.strip():
                raise EditError(f"`{line.strip()}`: write a setting as `set: 2 A`")
            continue
        many = value.strip()
        listed = [v.strip() for v in many.strip("[]").split(",")]
        values[key.strip()] = listed if many.startswith("[") else many
    if words.get("note"):
        values["note"] = words["note"]
    return [AddEntry("items", name, values if len(values) > 1 else part)], f"{name}: {part}"


def _cable(cell: Cell | None, words: Words) -> tuple[Sequence[Edit], str]:
    part = _needed(words, "part", "the kind of cable")
    length = _needed(words, "length", "the length")
    name = words.get("name") or _free(cell, "W")
    length = f"{length} m" if length.replace(".", "", 1).isdecimal() else length
    return [AddEntry("cables", name, {"part": part, "length": length})], f"{name}: {part}, {length}"


def _join(cell: Cell | None, words: Words) -> tuple[Sequence[Edit], str]:
    del cell
    ends = _needed(words, "from", "where it begins"), _needed(words, "to", "where it ends")
    line = " ".join(w for w in (ends[0], words.get("core", ""), ends[1]) if w)
    return [AddLine("joins", line)], line


def _cores(cell: Cell | None, words: Words) -> tuple[Sequence[Edit], str]:
    """Return a line for every core of a cable that has both ends filled in."""
    cable = _needed(words, "cable", "the cable")
    if cell is None or cable not in cell.cables:
        raise EditError(f"there is no cable {cable}")
    lines = []
    for core in cell.cables[cable].part.cores:
        a, b = words.get(f"from-{core.colour}", ""), words.get(f"to-{core.colour}", "")
        if bool(a) != bool(b):
            raise EditError(f"core {core.colour} has one end only")
        if a:
            lines.append(f"{a}  {cable}:{core.colour}  {b}")
    if not lines:
        raise EditError("no core has its ends filled in")
    return [AddLine("joins", line) for line in lines], "; ".join(lines)


def _signal(cell: Cell | None, words: Words) -> tuple[Sequence[Edit], str]:
    del cell
    name = _needed(words, "name", "the name of the signal")
    values = {"channel": _needed(words, "channel", "the channel")}
    on, drives = words.get("on", ""), words.get("drives", "")
    if bool(on) == bool(drives):
        raise EditError("say either when it must be on (an input) or what it works (an output)")
    values |= {"on": on} if on else {"drives": drives}
    return [AddEntry("signals", name, values)], f"{name}: {values['channel']}"


def _expect(cell: Cell | None, words: Words) -> tuple[Sequence[Edit], str]:
    del cell
    line = _needed(words, "line", "what must hold")
    return [AddLine("expect", line)], line


def _remove(cell: Cell | None, words: Words) -> tuple[Sequence[Edit], str]:
    del cell
    section = words.get("section", "")
    name = _needed(words, "name", "what to remove")
    if section not in SECTIONS:
        raise EditError(f"nothing is removed from `{section}`")
    step: str | int = int(name) if section in ("joins", "expect") and name.isdecimal() else name
    return [Remove((section, step))], f"{name} removed from {section}"
