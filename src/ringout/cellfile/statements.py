"""What a cell file says, line by line, with a place on every word; nothing is resolved yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from ringout.base.interval import Interval
from ringout.base.span import Span
from ringout.cellfile.condition import Condition
from ringout.cellfile.expect import ExpectLine
from ringout.cellfile.tree import Node
from ringout.cellfile.words import ChannelText, PlaceText, Word

Settings: TypeAlias = tuple[tuple[Word, Node], ...]


@dataclass(frozen=True, slots=True)
class ItemLine:
    """`S1: {part: pushbutton-1no, note: ...}`; `settings` are all other pairs, as they stand."""

    name: Word
    part: Word
    settings: Settings
    note: Word | None
    span: Span


@dataclass(frozen=True, slots=True)
class CableLine:
    """`W1: {part: cable-4x0.34, length: 6 m}`; `settings` are all other pairs."""

    name: Word
    part: Word
    length: Word | None
    settings: Settings
    note: Word | None
    span: Span


@dataclass(frozen=True, slots=True)
class JoinLine:
    """`S1:13  W1:BN  K1-X1:1`: from one place over a core to another.

    Args:
        a: the place the line names first.
        over: core, or whole cable where it is plugged; None for a direct link.
        b: the place the line names last.
        length: length of the core of a direct link, if the line gives one.
        area: cross-section of a direct link, if the line gives one.
        note: remark of the mapping form.
        text: the line as a sentence would quote it.
        span: its place.
    """

    a: PlaceText
    over: PlaceText | None
    b: PlaceText
    length: Word | None
    area: Word | None
    note: Word | None
    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class SignalLine:
    """`start: {channel: K1.I1, on: S1 pressed}`.

    Args:
        name: the name programs use.
        channel: item and channel.
        on: condition under which an input must be on; None for an output.
        on_text: that condition as written.
        drives: item or item and actor an output works.
        settings: all other pairs, as they stand.
        note: what the signal means.
        span: place of the name.
    """

    name: Word
    channel: ChannelText
    on: Condition | None
    on_text: Word | None
    drives: Word | None
    settings: Settings
    note: Word | None
    span: Span


@dataclass(frozen=True, slots=True)
class LiveLine:
    """`K1: {modbus: robot-k1, inputs: 0}`: where a controller's channels are read live."""

    name: Word
    settings: Settings
    span: Span


@dataclass(frozen=True, slots=True)
class AcceptLine:
    """`F214 on S2 because ...`: a finding somebody knows of and takes, with the reason."""

    code: Word
    place: Word
    reason: Word
    span: Span


@dataclass(frozen=True, slots=True)
class CellText:
    """All statements of a cell file and of the files it includes.

    Args:
        name: what `cell:` says; None if the line is missing.
        revision: what `revision:` says.
        note: what `note:` says.
        ambient: what `ambient:` says.
        ambient_c: the same in degrees Celsius; None if missing or unreadable.
        items: lines of `items`.
        cables: lines of `cables`.
        joins: lines of `joins`.
        signals: lines of `signals`.
        expects: lines of `expect`.
        accepts: lines of `accept`.
        house: house rules, name and value.
        lives: lines of `live`.
        files: path and SHA-256 of every file read, the cell file first.
        span: the beginning of the cell file.
    """

    name: Word | None
    revision: Word | None
    note: Word | None
    ambient: Word | None
    ambient_c: Interval | None
    items: tuple[ItemLine, ...]
    cables: tuple[CableLine, ...]
    joins: tuple[JoinLine, ...]
    signals: tuple[SignalLine, ...]
    expects: tuple[ExpectLine, ...]
    accepts: tuple[AcceptLine, ...]
    house: tuple[tuple[Word, Word], ...]
    lives: tuple[LiveLine, ...]
    files: tuple[tuple[str, str], ...]
    span: Span
