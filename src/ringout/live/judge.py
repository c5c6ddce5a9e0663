"""What an action did to the inputs: the right one, another, several, none, or a flicker."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from ringout.cell.model import Cell
from ringout.live.poll import Change

Key = tuple[str, str]
Namer = Callable[[Key], str]
RIGHT, WRONG, SEVERAL, INVERTED, NONE, FLICKER = (
    "right", "wrong channel", "several channels", "inverted", "none", "flicker",
)  # fmt: skip
FLICKERS_FROM = 3  # changes of one input for one action; a clean one changes once
BOUNCE_S = 0.05  # contacts are quiet after 10 to 50 ms, common practice


@dataclass(frozen=True, slots=True)
class Answer:
    """What an action did.

    Args:
        verdict: `right`, `wrong channel`, `several channels`, `inverted`, `none`, `flicker`.
        text: one sentence for the person at the cell.
        changed: (item, channel) to the level each ended on, in the order they moved.
        counts: (item, channel) to how often it changed.
        span_s: seconds from the first to the last change.
        seen: sentences of observations for `find`; empty when all is right.
    """

    verdict: str
    text: str
    changed: tuple[tuple[tuple[str, str], bool], ...]
    counts: Mapping[tuple[str, str], int]
    span_s: float
    seen: tuple[str, ...]


def expected_changes(
    cell: Cell, before: Mapping[str, str], after: Mapping[str, str]
) -> dict[tuple[str, str], bool]:
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
    cell: Cell, wanted: Mapping[tuple[str, str], bool], changes: Sequence[Change], state: str
) -> Answer:
    """Judge the changes after one action.

    Args:
        cell: the cell.
        wanted: inputs that must change, with their new level.
        changes: what changed, in order.
        state: the state in words, as in `S1 pressed`.
    """
    final: dict[tuple[str, str], bool] = {}
    counts: dict[tuple[str, str], int] = {}
    for change in changes:
        key = change.item, change.channel
        final[key] = change.on
        counts[key] = counts.get(key, 0) + 1
    moved = {k: on for k, on in final.items() if counts[k] % 2}  # even: back where it was
    span = changes[-1].at_s - changes[0].at_s if changes else 0.0
    verdict, text = _verdict(cell, wanted, moved, counts, span)
    seen = () if verdict == RIGHT else tuple(_sentences(cell, wanted, moved, counts, state))
    return Answer(verdict, text, tuple(final.items()), counts, span, seen)


def _verdict(
    cell: Cell,
    wanted: Mapping[tuple[str, str], bool],
    moved: Mapping[tuple[str, str], bool],
    counts: Mapping[tuple[str, str], int],
    span_s: float,
) -> tuple[str, str]:
    name = _namer(cell)
    restless = [k for k, n in counts.items() if n >= FLICKERS_FROM]
    if restless and span_s > BOUNCE_S:
        many = ", ".join(f"{name(k)} {counts[k]} times" for k in restless)
        return FLICKER, f"{many} in {span_s * 1000:.0f} ms: bounce, or a loose joint."
    if dict(moved) == dict(wanted):
        return RIGHT, f"{_list(moved, name)}, and nothing else."
    missing = [k for k in wanted if k not in moved]
    extra = [k for k in moved if k not in wanted]
    opposite = [k for k in wanted if k in moved and moved[k] != wanted[k]]
    if opposite:
        return INVERTED, f"{_list({k: moved[k] for k in opposite}, name)}: the wrong way round."
    if not moved:
        return NONE, f"Nothing changed; {_list(wanted, name)} was wanted."
    if missing and extra:
        near = f"{name(extra[0])} instead of {name(missing[0])}"
        return WRONG, f"{near}: are the two exchanged, or the plug one socket off?"
    if missing:
        return NONE, f"{_list({k: wanted[k] for k in missing}, name)} is missing."
    return SEVERAL, f"Also {_list({k: moved[k] for k in extra}, name)}: do two cores touch?"


def _namer(cell: Cell) -> Namer:
    signals = cell.signal_of_channel()

    def name(key: tuple[str, str]) -> str:
        return signals[key].name if key in signals else f"{key[0]}.{key[1]}"

    return name


def _list(levels: Mapping[tuple[str, str], bool], name: Namer) -> str:
    words = [f"{name(k)} {'on' if on else 'off'}" for k, on in levels.items()]
    return ", ".join(words) if words else "nothing"


def _sentences(
    cell: Cell,
    wanted: Mapping[tuple[str, str], bool],
    moved: Mapping[tuple[str, str], bool],
    counts: Mapping[tuple[str, str], int],
    state: str,
) -> list[str]:
    """Return what was seen, as a person would tell `find`; channels without a signal left out."""
    names = {key: s.name for key, s in cell.signal_of_channel().items()}
    while_ = f" while {state}" if state else ""
    out = []
    for key in dict.fromkeys((*wanted, *moved, *counts)):
        if key not in names:
            continue
        if counts.get(key, 0) >= FLICKERS_FROM:
            out.append(f"{names[key]} flickers{while_}")
            continue
        before = not wanted[key] if key in wanted else not moved.get(key, False)
        level = moved.get(key, before)
        out.append(f"{names[key]} {'on' if level else 'off'}{while_}")
    return out
