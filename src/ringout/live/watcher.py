"""What inputs say beyond single changes: bounce, flicker, stuck, impossible, without a signal."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import prod

from ringout.cell.model import Cell, Signal
from ringout.live.poll import Change, Connection, Event, Pace

Key = tuple[str, str]
QUIET_S = 0.3  # nothing more comes: longer than any bounce and filter, common practice
STEP_S = 0.05
STANDS_S = 0.5  # a switch is between two positions, a relay on its way, for less; common practice
FLICKER_CHANGES, FLICKER_S = 6, 1.0  # nobody presses a button three times a second for long
MOST_STATES = 4096  # positions of the actors of one group; larger groups are not judged


@dataclass(frozen=True, slots=True)
class Settled:
    """An input has come to rest after it moved.

    Args:
        item: controller.
        channel: its channel.
        on: what it rests at.
        changes: how often it changed; more than once is bounce.
        span_s: seconds from its first to its last change.
        at_s: time of its last change.
    """

    item: str
    channel: str
    on: bool
    changes: int
    span_s: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Standing:
    """Something that is not right for as long as it stands.

    Args:
        kind: `impossible`, `stuck`, `flicker`, `stray`, `slow`.
        channels: (item, channel) of those concerned; none for `slow`.
        text: one sentence.
        cure: what to look at.
        holds: it stands; False: it is over.
        at_s: since when, or when it was over.
    """

    kind: str
    channels: tuple[Key, ...]
    text: str
    cure: str
    holds: bool
    at_s: float


LiveEvent = Change | Connection | Pace | Settled | Standing


@dataclass(frozen=True, slots=True)
class Group:
    """Signals that the same actors move, and the levels they can have together.

    Args:
        signals: by (item, channel).
        actors: who moves them.
        possible: every combination of levels that some positions give, in the order of `signals`.
    """

    signals: Mapping[Key, Signal]
    actors: tuple[str, ...]
    possible: frozenset[tuple[bool, ...]]


def groups_of(cell: Cell, watched: Iterable[Key]) -> Iterator[Group]:
    """Yield the groups of watched signals that cannot have every combination of levels."""
    shown = set(watched)
    tied: list[tuple[set[str], dict[Key, Signal]]] = []
    for key, signal in cell.signal_of_channel().items():
        if key not in shown or signal.on is None:
            continue
        actors = {leaf.actor for leaf in signal.on.leaves()}
        members = {key: signal}
        for other in [t for t in tied if t[0] & actors]:
            tied.remove(other)
            actors |= other[0]
            members = {**other[1], **members}
        tied.append((actors, members))
    for found, members in tied:
        names = tuple(sorted(found))
        choices = [cell.actors[a].positions for a in names]
        if len(members) < 2 or prod(map(len, choices)) > MOST_STATES:
            continue
        possible = set()
        for positions in itertools.product(*choices):
            state = dict(zip(names, positions, strict=True))
            possible.add(tuple(s.on is not None and s.on.holds(state) for s in members.values()))
        if len(possible) < 2 ** len(members):
            yield Group(members, names, frozenset(possible))


@dataclass
class _Trace:
    """How one input moved lately."""

    count: int = 0
    first_s: float = 0.0
    last_s: float = 0.0
    moved: int = 0  # since the watch began


class Watcher:
    """Takes events as they come and tells what they mean.

    Args:
        cell: the cell.
        watched: (item, channel) of every input that is read.
    """

    def __init__(self, cell: Cell, watched: Iterable[Key]) -> None:
        self.watched = tuple(watched)
        self.signals = cell.signal_of_channel()
        self.groups = tuple(groups_of(cell, self.watched))
        self.levels: dict[Key, bool] = {}
        self.standing: dict[tuple[str, object], Standing] = {}
        self._traces = {key: _Trace() for key in self.watched}
        self._recent: dict[Key, deque[float]] = {
            key: deque(maxlen=FLICKER_CHANGES) for key in self.watched
        }
        self._since: dict[tuple[str, object], float] = {}
        self._gone: set[str] = set()
        self._ticked_s = float("-inf")

    def name(self, key: Key) -> str:
        """Return the signal of a channel, or the channel where it has none."""
        return self.signals[key].name if key in self.signals else f"{key[0]}.{key[1]}"

    def unmoved(self) -> list[str]:
        """Return the signals that have not moved since the watch began."""
        return [self.name(k) for k, t in self._traces.items() if k in self.signals and not t.moved]

    def take(self, event: Event) -> list[LiveEvent]:
        """Return an event and what follows from it at once."""
        out: list[LiveEvent] = [event]
        if isinstance(event, Connection):
            if event.up:
                self._gone.discard(event.item)
                self.levels.update({(event.item, c): on for c, on in event.levels})
            else:
                self._gone.add(event.item)
        elif isinstance(event, Pace):
            out += self._turn("slow", event.item, _pace(event), holds=event.slow)
        else:
            key = event.item, event.channel
            trace = self._traces.setdefault(key, _Trace())
            out = [*self._rest(key, trace, event.at_s), event]
            self.levels[key] = event.on
            trace.first_s = trace.first_s if trace.count else event.at_s
            trace.last_s = event.at_s
            trace.count += 1
            trace.moved += 1
            self._recent.setdefault(key, deque(maxlen=FLICKER_CHANGES)).append(event.at_s)
        if event.at_s - self._ticked_s >= STEP_S:  # a flood is not looked at change by change
            out += self.tick(event.at_s)
        return out

    def tick(self, now_s: float) -> list[LiveEvent]:
        """Return what has come to rest or stands by now, and what is over."""
        self._ticked_s = now_s
        out: list[LiveEvent] = []
        for key, trace in self._traces.items():
            out += self._rest(key, trace, now_s)
        for key, recent in self._recent.items():
            lively = (
                len(recent) == FLICKER_CHANGES
                and recent[-1] - recent[0] <= FLICKER_S
                and now_s - recent[-1] <= FLICKER_S
            )
            out += self._turn("flicker", key, self._flicker(key, now_s), holds=lively)
        for key in self.watched:
            stray = key not in self.signals and self.levels.get(key, False)
            holds = self._lasts("stray", key, now_s, present=stray)
            out += self._turn("stray", key, self._stray(key, now_s), holds=holds)
        for group in self.groups:
            out += self._judge(group, now_s)
        return out

    def _rest(self, key: Key, trace: _Trace, now_s: float) -> list[LiveEvent]:
        """Return that an input has come to rest, once."""
        if not trace.count or now_s - trace.last_s < QUIET_S:
            return []
        count, trace.count = trace.count, 0
        span = trace.last_s - trace.first_s
        return [Settled(*key, self.levels[key], count, span, trace.last_s)]

    def _judge(self, group: Group, now_s: float) -> list[LiveEvent]:
        """Tell of a combination that no positions give, and of the one that does not follow."""
        keys = tuple(group.signals)
        known = all(k in self.levels and k[0] not in self._gone for k in keys)
        levels = tuple(self.levels.get(k, False) for k in keys)
        wrong = known and levels not in group.possible
        holds = self._lasts("impossible", keys, now_s, present=wrong)
        still = self._still(group, levels) if holds else ()
        kind = "stuck" if len(still) == 1 else "impossible"
        text, cure = self._combination(group, levels, still)
        out: list[LiveEvent] = []
        for one in ("stuck", "impossible"):
            news = Standing(one, still if one == "stuck" else keys, text, cure, True, now_s)
            out += self._turn(one, keys, news, holds=holds and one == kind)
        return out

    def _still(self, group: Group, levels: tuple[bool, ...]) -> tuple[Key, ...]:
        """Return the inputs that have not moved while another did, and would mend it alone."""
        keys = tuple(group.signals)
        if not any(self._traces[k].moved for k in keys):
            return ()
        out = []
        for n, key in enumerate(keys):
            other = (*levels[:n], not levels[n], *levels[n + 1 :])
            if other in group.possible and not self._traces[key].moved:
                out.append(key)
        return tuple(out)

    def _combination(
        self, group: Group, levels: tuple[bool, ...], still: tuple[Key, ...]
    ) -> tuple[str, str]:
        words = [
            f"{s.name} {'on' if on else 'off'}"
            for s, on in zip(group.signals.values(), levels, strict=True)
        ]
        actors = " and ".join(group.actors)
        if len(still) == 1:
            name, level = self.name(still[0]), "on" if self.levels[still[0]] else "off"
            others = ", ".join(w for w in words if not w.startswith(f"{name} "))
            return (
                f"{name} stays {level} while {actors} moves ({others})",
                "stuck: a contact that does not follow, a bridge or an open core",
            )
        return (
            f"{', '.join(words)}: no position of {actors} gives that together",
            f"look at the cores and the contacts of {actors}",
        )

    def _flicker(self, key: Key, now_s: float) -> Standing:
        return Standing(
            "flicker", (key,), f"{self.name(key)} flickers",
            "a loose joint, a target at the edge of its range, or a bounce longer than the filter",
            True, now_s,
        )  # fmt: skip

    def _stray(self, key: Key, now_s: float) -> Standing:
        return Standing(
            "stray", (key,), f"{self.name(key)} is on and has no signal",
            "is a plug one socket off, or a signal missing in the file?", True, now_s,
        )  # fmt: skip

    def _lasts(self, kind: str, about: object, now_s: float, *, present: bool) -> bool:
        """Return whether something has been there long enough to be told."""
        if not present:
            self._since.pop((kind, about), None)
            return False
        return now_s - self._since.setdefault((kind, about), now_s) >= STANDS_S

    def _turn(self, kind: str, about: object, news: Standing, *, holds: bool) -> list[LiveEvent]:
        """Return the news that something stands now, or does no more."""
        place = kind, about
        before = self.standing.get(place)
        if holds and (before is None or before.text != news.text):
            self.standing[place] = news
            return [news]
        if not holds and before is not None:
            del self.standing[place]
            return [Standing(kind, before.channels, before.text, "", False, news.at_s)]
        return []


def _pace(event: Pace) -> Standing:
    ms = event.gap_s * 1000
    return Standing(
        "slow", (), f"{event.item} leaves up to {ms:.0f} ms between two answers",
        "shorter pulses are missed: give --cycle more, or look at the network",
        event.slow, event.at_s,
    )  # fmt: skip
