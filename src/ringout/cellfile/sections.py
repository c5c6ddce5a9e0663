"""The sections of one file to statements; what cannot be read is reported and left out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from ringout.base.diagnostic import Diagnostic, Severity
from ringout.base.interval import Interval
from ringout.base.quantity import parse_quantity
from ringout.base.span import Span
from ringout.base.suggest import did_you_mean
from ringout.cellfile.condition import Condition, parse_condition
from ringout.cellfile.expect import ExpectLine, parse_expect
from ringout.cellfile.statements import (
    AcceptLine,
    CableLine,
    ItemLine,
    JoinLine,
    LiveLine,
    Settings,
    SignalLine,
)
from ringout.cellfile.tree import Mapping, Node, Scalar, Sequence, is_blank
from ringout.cellfile.words import (
    ITEM_NAME,
    PlaceText,
    Word,
    read_channel,
    read_place,
    split_tokens,
    word_at,
    word_of,
)

HOUSE_KEYS = ("market", "ferrule_series", "clamp_thread", "spare")
MARKETS = ("iec", "us")
_JOIN_KEYS = ("from", "over", "to", "length", "area", "note")
_CODE = re.compile(r"[TNWCF]\d{3}")
_ACCEPT = re.compile(r"\s*(\S+)\s+on\s+(\S+)\s+because\s+(\S.*?)\s*", re.DOTALL)
_SHAPES = {Mapping: "`name: value` pairs", Sequence: "a list", Scalar: "one value"}


class SectionReader:
    """Reads sections of one file; `problems` collects what is wrong."""

    def __init__(self) -> None:
        self.problems: list[Diagnostic] = []

    # -- helpers -----------------------------------------------------------------------

    def error(self, code: str, message: str, span: Span, fix: str | None = None) -> None:
        """Report an error."""
        self.problems.append(Diagnostic(code, Severity.ERROR, message, span, fix=fix))

    def unknown(self, code: str, message: str, word: Scalar, known: Iterable[str]) -> None:
        """Report a word that is none of the known ones, with the nearest."""
        names = list(known)
        near = did_you_mean(word.text, names)
        fix = f"did you mean `{near}`?" if near else f"known here: {', '.join(names)}"
        self.error(code, message, word.span, fix)

    def entries(self, section: str, node: Node, example: str) -> Iterator[tuple[Scalar, Node]]:
        """Yield the lines of a section of `name: value` lines."""
        if isinstance(node, Mapping):
            yield from node.entries
        elif not is_blank(node):
            message = (
                f"`{section}` holds `name: value` lines, but {_SHAPES[type(node)]} stands here"
            )
            self.error("N012", message, node.span, f"write lines such as `{example}`")

    def lines(self, section: str, node: Node, example: str) -> Iterator[Node]:
        """Yield the lines of a section of dash lines."""
        if isinstance(node, Sequence):
            yield from node.items
        elif not is_blank(node):
            message = f"each line of `{section}` begins with a dash"
            self.error("N012", message, node.span, f"write lines such as `- {example}`")

    def word(self, node: Node | None, what: str) -> Word | None:
        """Return a value that must be a single text; None if it is missing or no text."""
        if node is None:
            return None
        if not isinstance(node, Scalar):
            message = f"{what} is one value, but {_SHAPES[type(node)]} stands here"
            self.error("N016", message, node.span, "write it without brackets or dashes")
            return None
        return None if is_blank(node) else word_of(node)

    def _named(self, name: Scalar, what: str) -> bool:
        if ITEM_NAME.fullmatch(name.text):
            return True
        message = f"`{name.text}` is no name for {what}"
        fix = "a name begins with a letter and goes on with letters, digits and `_`"
        self.error("N013", message, name.span, fix)
        return False

    def _rest(self, node: Mapping, taken: tuple[str, ...]) -> Settings:
        return tuple((word_of(k), v) for k, v in node.entries if k.text not in taken)

    # -- sections ----------------------------------------------------------------------

    def items(self, node: Node) -> Iterator[ItemLine]:
        """Yield the lines of `items`."""
        for name, value in self.entries("items", node, "S1: pushbutton-1no"):
            got = self._part_line("item", name, value, "S1: pushbutton-1no")
            if got is not None:
                part, fields = got
                note = self.word(fields.get("note"), "`note`")
                settings = self._rest(fields, ("part", "note"))
                yield ItemLine(word_of(name), part, settings, note, name.span)

    def cables(self, node: Node) -> Iterator[CableLine]:
        """Yield the lines of `cables`."""
        example = "W1: {part: cable-4x0.34, length: 6 m}"
        for name, value in self.entries("cables", node, example):
            got = self._part_line("cable", name, value, example)
            if got is not None:
                part, fields = got
                length = self.word(fields.get("length"), "`length`")
                note = self.word(fields.get("note"), "`note`")
                settings = self._rest(fields, ("part", "length", "note"))
                yield CableLine(word_of(name), part, length, settings, note, name.span)

    def _part_line(
        self, what: str, name: Scalar, value: Node, example: str
    ) -> tuple[Word, Mapping] | None:
        if not self._named(name, f"a{'n' if what == 'item' else ''} {what}"):
            return None
        fields = value if isinstance(value, Mapping) else Mapping((), value.span)
        named = fields.get("part") if isinstance(value, Mapping) else value
        part = self.word(named, "the part")
        if part is None:
            if is_blank(named):
                message = f"{what} {name.text} has no part"
                self.error("N014", message, name.span, f"write `{example}`")
            return None
        return part, fields

    def joins(self, node: Node) -> Iterator[JoinLine]:
        """Yield the lines of `joins`."""
        for line in self.lines("joins", node, "S1:13  W1:BN  K1-X1:1"):
            found = self._join(line)
            if found is not None:
                yield found

    def _join(self, line: Node) -> JoinLine | None:
        if isinstance(line, Scalar):
            return self._join_words(line)
        if isinstance(line, Mapping):
            if "from" in line.keys() or "to" in line.keys():  # noqa: SIM118  (a node, no dict)
                return self._join_fields(line)
            key = line.entries[0][0] if line.entries else None
            if key is not None and ITEM_NAME.match(key.text):
                message = f"a blank after the colon makes `{key.text}` a name of its own"
                fix = f"write item and pin in one word, as in `{key.text.split()[-1]}:13`"
                self.error("N022", message, key.span, fix)
                return None
        message = "a join is one line: from where, over which core, to where"
        self.error("N020", message, line.span, "write `- S1:13  W1:BN  K1-X1:1`")
        return None

    def _join_words(self, line: Scalar) -> JoinLine | None:
        tokens = split_tokens(line.text)
        if not 2 <= len(tokens) <= 3:
            message = f"a join has two or three words, this one has {len(tokens)}"
            fix = "write `- S1:13  W1:BN  K1-X1:1`, one line for each conductor"
            if len(tokens) > 3:
                fix = "one line for each conductor; put a remark behind ` #`"
            span = line.span if len(tokens) < 3 else line.part(tokens[3].start, tokens[-1].end)
            self.error("N020", message, span, fix)
            return None
        places: list[PlaceText] = []
        for token in tokens:
            place = read_place(line, token)
            if place is None:
                self._no_place(token.text, word_at(line, token).span)
                return None
            places.append(place)
        over = places[1] if len(places) == 3 else None
        text = " ".join(token.text for token in tokens)
        return JoinLine(places[0], over, places[-1], None, None, None, text, line.span)

    def _no_place(self, text: str, span: Span) -> None:
        message = f"`{text}` is neither a terminal nor a core"
        fix = (
            "write item and pin `S1:13`, item, socket and pin `K1-X1:4`, or cable and core `W1:BN`"
        )
        self.error("N021", message, span, fix)

    def _join_fields(self, line: Mapping) -> JoinLine | None:
        for key, _ in line.entries:
            if key.text not in _JOIN_KEYS:
                self.unknown("N015", f"a join has no `{key.text}`", key, _JOIN_KEYS)
        places: dict[str, PlaceText | None] = {}
        for name in ("from", "over", "to"):
            word = self.word(line.get(name), f"`{name}`")
            if word is None:
                if name != "over":
                    self.error(
                        "N023", f"the join has no `{name}`", line.span, f"add `{name}: S1:13`"
                    )
                    return None
                continue
            scalar = Scalar(word.text, word.span)
            tokens = split_tokens(word.text)
            place = read_place(scalar, tokens[0]) if len(tokens) == 1 else None
            if place is None:
                self._no_place(word.text, word.span)
                return None
            places[name] = place
        a, over, b = places["from"], places.get("over"), places["to"]
        assert a is not None  # checked above
        assert b is not None
        length, area, note = (self.word(line.get(k), f"`{k}`") for k in ("length", "area", "note"))
        text = " ".join(str(place) for place in (a, over, b) if place is not None)
        return JoinLine(a, over, b, length, area, note, text, line.span)

    def signals(self, node: Node) -> Iterator[SignalLine]:
        """Yield the lines of `signals`."""
        example = "start: {channel: K1.I1, on: S1 pressed}"
        for name, value in self.entries("signals", node, example):
            found = self._signal(name, value, example)
            if found is not None:
                yield found

    def _signal(self, name: Scalar, value: Node, example: str) -> SignalLine | None:
        if not self._named(name, "a signal"):
            return None
        channel = value.get("channel") if isinstance(value, Mapping) else None
        if not isinstance(value, Mapping) or channel is None:
            self.error(
                "N014", f"signal {name.text} has no channel", name.span, f"write `{example}`"
            )
            return None
        place = read_channel(channel) if isinstance(channel, Scalar) else None
        if place is None:
            shown = channel.text if isinstance(channel, Scalar) else "this"
            message = f"`{shown}` is no channel"
            self.error("N030", message, channel.span, "write item and channel, as in `K1.I4`")
            return None
        on = value.get("on")
        condition: Condition | None = None
        if isinstance(on, Scalar):
            read = parse_condition(on)
            if isinstance(read, Diagnostic):
                self.problems.append(read)
                return None
            condition = read
        elif on is not None:
            self.word(on, "`on`")
            return None
        return SignalLine(
            word_of(name),
            place,
            condition,
            word_of(on) if isinstance(on, Scalar) else None,
            self.word(value.get("drives"), "`drives`"),
            self._rest(value, ("channel", "on", "drives", "note")),
            self.word(value.get("note"), "`note`"),
            name.span,
        )

    def expects(self, node: Node) -> Iterator[ExpectLine]:
        """Yield the lines of `expect`."""
        example = "K1-X1:4 to K1-X1:3 is 23..24.5 V while S1 pressed"
        for line in self.lines("expect", node, example):
            if not isinstance(line, Scalar):
                self.error(
                    "N032", "an `expect` line is one sentence", line.span, f"write `- {example}`"
                )
                continue
            found = parse_expect(line)
            if isinstance(found, Diagnostic):
                self.problems.append(found)
            else:
                yield found

    def accepts(self, node: Node) -> Iterator[AcceptLine]:
        """Yield the lines of `accept`."""
        example = "F214 on S2 because the contact is cleaned every year"
        for line in self.lines("accept", node, example):
            found = _ACCEPT.fullmatch(line.text) if isinstance(line, Scalar) else None
            if not isinstance(line, Scalar) or found is None or not _CODE.fullmatch(found[1]):
                message = "an `accept` line names a code, a place and a reason"
                self.error("N034", message, line.span, f"write `- {example}`")
                continue
            words = [Word(found[i], line.part(*found.span(i))) for i in (1, 2, 3)]
            yield AcceptLine(words[0], words[1], words[2], line.span)

    def lives(self, node: Node) -> Iterator[LiveLine]:
        """Yield the lines of `live`."""
        example = "K1: {modbus: robot-k1, inputs: 0}"
        for name, value in self.entries("live", node, example):
            if not isinstance(value, Mapping):
                message = f"`{name.text}` does not say how it is read"
                self.error("N014", message, name.span, f"write `{example}`")
                continue
            yield LiveLine(word_of(name), self._rest(value, ()), name.span)

    def house(self, node: Node) -> Iterator[tuple[Word, Word]]:
        """Yield the house rules."""
        for key, value in self.entries("house", node, "market: iec"):
            word = self.word(value, f"`{key.text}`")
            if key.text not in HOUSE_KEYS:
                self.unknown("N035", f"there is no house rule `{key.text}`", key, HOUSE_KEYS)
            elif key.text == "market" and word is not None and word.text not in MARKETS:
                shown = Scalar(word.text, word.span)
                self.unknown("N035", f"there is no market `{word.text}`", shown, MARKETS)
            elif word is not None:
                yield word_of(key), word

    def ambient(self, word: Word | None) -> Interval | None:
        """Return the ambient temperature in degrees Celsius."""
        if word is None:
            return None
        found = parse_quantity(word.text, "celsius", word.span)
        if isinstance(found, Diagnostic):
            self.problems.append(found)
            return None
        return found
