"""What an action did to the inputs: the right one, another, several, none, or a flicker."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from ringout.cell.channels import channel_terminal
from ringout.cell.model import Cell
from ringout.live.poll import Change

Key = tuple[str, str]
Namer = Callable[[Key], str]
RIGHT, WRONG, SEVERAL, INVERTED, NONE, FLICKER, SKIPPED = (
    "right", "wrong channel", "several channels", "inverted", "none", "flicker", "left out",
)  # fmt: skip
FLICKERS_FROM = 3  # changes of one input for one action; a clean one changes once
_WHILE = " while "
BOUNCE_S = 0.05  # contacts are quiet after 10 to 50 ms, common practice


@dataclass(frozen=True, slots=True)
class Answer:
    """What an action did.

    Args:
        verdict: `right`, `wrong channel`, `several channels`, `inverted`, `none`, `flicker`,
            `left out`.
        text: one sentence for the person at the cell.
        changed: (item, channel) to the level each ended on, in the order they moved.
        counts: (item, channel) to how often it changed.
        span_s: seconds from the first to the last change.
        seen: sentences of observations for `find`; what was right narrows it down too.
        exchanged: pairs of inputs that came for each other.
    """

    verdict: str
    text: str
    changed: tuple[tuple[Key, bool], ...]
    counts: Mapping[Key, int]
    span_s: float
    seen: tuple[str, ...]
    exchanged: tuple[tuple[Key, Key], ...] = ()


def expected_changes(
    cell: Cell, before: Mapping[str, str], after: Mapping[str, str]
) -> dict[Key, bool]:
    """Return the inputs that must change between two states, with their new level."""
    out = {}
    for signal in cell.signals.values():
        if signal.on is None:
            continue
        was, now = signal.on.holds(before), signal.on.holds(after)
        if was != now:
            out[signal.item, signal.channel.name] = now
    return out


def judge(
    cell: Cell,
    wanted: Mapping[Key, bool],
    changes: Sequence[Change],
    state: str,
    levels: Mapping[Key, bool] | None = None,
) -> Answer:
    """Judge the changes after one action.

    Args:
        cell: the cell.
        wanted: inputs that must change, with their new level.
        changes: what changed, in order.
        state: the state in words, as in `S1 pressed`.
        levels: where the inputs stand afterwards, as far as known.
    """
    final: dict[Key, bool] = {}
    times: dict[Key, list[float]] = {}
    for change in changes:
        key = change.item, change.channel
        final[key] = change.on
        times.setdefault(key, []).append(change.at_s)
    counts = {k: len(t) for k, t in times.items()}
    moved = {k: on for k, on in final.items() if counts[k] % 2}  # even: back where it was
    restless = {
        k: t[-1] - t[0]
        for k, t in times.items()
        if len(t) >= FLICKERS_FROM and t[-1] - t[0] > BOUNCE_S
    }
    span = changes[-1].at_s - changes[0].at_s if changes else 0.0
    pairs = _exchanged(wanted, moved)
    if restless:
        name = _namer(cell)
        many = (f"{name(k)} {counts[k]} times in {s * 1000:.0f} ms" for k, s in restless.items())
        verdict, text = FLICKER, f"{', '.join(many)}: bounce, or a loose joint."
    else:
        verdict, text = _verdict(cell, wanted, moved, pairs)
    seen = tuple(_sentences(cell, wanted, moved, restless, state, levels or {}))
    return Answer(verdict, text, tuple(final.items()), counts, span, seen, pairs)


def evidence(answers: Iterable[Answer]) -> list[str]:
    """Return sentences for `find`: all that was wrong, and what was right with all at rest.

    Every state costs a look at every fault; the state of rest is looked at anyway.
    """
    given = list(answers)
    if all(a.verdict in (RIGHT, SKIPPED) for a in given):
        return []
    told = (t for a in given for t in a.seen if a.verdict != RIGHT or _WHILE not in t)
    return list(dict.fromkeys(told))


def _exchanged(
    wanted: Mapping[Key, bool], moved: Mapping[Key, bool]
) -> tuple[tuple[Key, Key], ...]:
    """Return pairs (wanted, moved instead) that look like two cores exchanged."""
    missing = [k for k in wanted if k not in moved]
    extra = [k for k in moved if k not in wanted]
    opposite = [k for k in wanted if k in moved and moved[k] != wanted[k]]
    if len(opposite) == 2 and wanted[opposite[0]] != wanted[opposite[1]]:
        return ((opposite[0], opposite[1]),)
    return tuple(zip(missing, extra, strict=False))


def _verdict(
    cell: Cell,
    wanted: Mapping[Key, bool],
    moved: Mapping[Key, bool],
    pairs: tuple[tuple[Key, Key], ...],
) -> tuple[str, str]:
    name = _namer(cell)
    if dict(moved) == dict(wanted):
        return RIGHT, f"{_list(moved, name)}, and nothing else."
    missing = [k for k in wanted if k not in moved]
    extra = [k for k in moved if k not in wanted]
    opposite = {k: moved[k] for k in wanted if k in moved and moved[k] != wanted[k]}
    if opposite and pairs:
        return WRONG, f"{_list(opposite, name)}: {_swap(cell, pairs)}"
    if opposite:
        return INVERTED, f"{_list(opposite, name)}: the wrong way round."
    if not moved:
        return NONE, f"Nothing changed; {_list(wanted, name)} was wanted."
    if pairs:
        near = ", ".join(f"{name(b)} instead of {name(a)}" for a, b in pairs)
        return WRONG, f"{near}: {_swap(cell, pairs)}"
    if missing:
        return NONE, f"{_list({k: wanted[k] for k in missing}, name)} is missing."
    return SEVERAL, f"Also {_list({k: moved[k] for k in extra}, name)}: do two cores touch?"


def _swap(cell: Cell, pairs: tuple[tuple[Key, Key], ...]) -> str:
    """Return where the two that came for each other are landed, as a question."""
    (a, b), *_ = pairs
    first, second = (channel_terminal(cell, *key) for key in (a, b))
    if first is None or second is None:
        return "are the two exchanged?"
    if (first.item, first.socket) == (second.item, second.socket):
        return f"are the cores on {first} and {second} exchanged?"
    return f"are {first} and {second} exchanged, or a plug one socket off?"


def _namer(cell: Cell) -> Namer:
    signals = cell.signal_of_channel()

    def name(key: tuple[str, str]) -> str:
        return signals[key].name if key in signals else f"{key[0]}.{key[1]}"

    return name


def _list(levels: Mapping[Key, bool], name: Namer) -> str:
    words = [f"{name(k)} {'on' if on else 'off'}" for k, on in levels.items()]
    return ", ".join(words) if words else "nothing"


def _sentences(
    cell: Cell,
    wanted: Mapping[Key, bool],
    moved: Mapping[Key, bool],
    restless: Collection[Key],
    state: str,
    levels: Mapping[Key, bool],
) -> list[str]:
    """Return what was seen, as a person would tell `find`; channels without a signal left out."""
    names = {key: s.name for key, s in cell.signal_of_channel().items()}
    while_ = f"{_WHILE}{state}" if state else ""
    out = []
    for key in dict.fromkeys((*wanted, *moved, *restless)):
        if key not in names:
            continue
        if key in restless:
            out.append(f"{names[key]} flickers{while_}")
            continue
        before = not wanted[key] if key in wanted else not moved.get(key, False)
        level = levels.get(key, moved.get(key, before))
        out.append(f"{names[key]} {'on' if level else 'off'}{while_}")
    return out
