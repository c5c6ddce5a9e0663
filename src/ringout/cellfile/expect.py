"""`expect` lines: what the file itself says must hold."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ringout.base.diagnostic import Diagnostic, Severity
from ringout.base.quantity import parse_quantity
from ringout.base.span import Span
from ringout.cellfile.condition import Condition, parse_condition
from ringout.cellfile.tree import Scalar
from ringout.cellfile.words import PlaceText, Token, Word, read_place, split_tokens, word_at

_EXAMPLES = (
    "write it as in `K1-X1:4 to K1-X1:3 is 23..24.5 V while S1 pressed`, "
    "`signal start is on while S1 pressed` or `current through W1:BN is 2..4 mA`"
)
_SINGLE_VALUE = "nothing measured is ever exactly one value"


@dataclass(frozen=True, slots=True)
class ExpectLine:
    """One line of `expect`.

    Args:
        kind: `voltage` (from `a` to `b`), `current` (through `conductor`) or `signal`.
        a: for a voltage, where the meter's red lead is.
        b: for a voltage, where its black lead is.
        conductor: for a current, the core.
        signal: for a signal, its name.
        wanted_on: for a signal, whether it must be on.
        low: least value in volts or amperes; minus infinity where only `under` is said.
        high: greatest value; infinity where only `over` is said.
        while_: condition under which it must hold; None means always.
        text: the line as written.
        span: its place.
    """

    kind: str
    a: PlaceText | None
    b: PlaceText | None
    conductor: PlaceText | None
    signal: Word | None
    wanted_on: bool
    low: float
    high: float
    while_: Condition | None
    text: str
    span: Span


class _UnreadError(Exception):
    def __init__(self, problem: Diagnostic) -> None:
        super().__init__(problem.message)
        self.problem = problem


def parse_expect(scalar: Scalar) -> ExpectLine | Diagnostic:
    """Read one `expect` line, or say how far it was understood."""
    reader = _Reader(scalar)
    try:
        return reader.read()
    except _UnreadError as unread:
        return unread.problem


class _Reader:
    def __init__(self, scalar: Scalar) -> None:
        self.scalar = scalar
        self.tokens = split_tokens(scalar.text)
        self.verb = self._find("is", 0)
        self.when = self._find("while", self.verb)

    def _find(self, word: str, start: int) -> int:
        found = (i for i in range(start, len(self.tokens)) if self.tokens[i].text == word)
        return next(found, len(self.tokens))

    def _unread(self, message: str, index: int, code: str = "N032") -> _UnreadError:
        text = self.scalar.text
        if index < len(self.tokens):
            start, end = self.tokens[index].start, self.tokens[index].end
        else:
            start = end = len(text.rstrip())
        understood = text[:start].strip()
        message += f"; understood so far: `{understood}`" if understood else ""
        span = self.scalar.part(start, end)
        return _UnreadError(Diagnostic(code, Severity.ERROR, message, span, fix=_EXAMPLES))

    def read(self) -> ExpectLine:
        """Return the line."""
        subject = [token.text for token in self.tokens[: self.verb]]
        if self.verb == len(self.tokens):
            raise self._unread("`is` with what must hold is wanted here", self.verb)
        if subject[:1] == ["signal"]:
            return self._signal()
        if subject[:1] == ["current"]:
            return self._current()
        return self._voltage()

    def _while(self) -> Condition | None:
        if self.when == len(self.tokens):
            return None
        found = parse_condition(self.scalar, self.tokens[self.when].end)
        if isinstance(found, Diagnostic):
            raise _UnreadError(found)
        return found

    def _place(self, index: int, wanted: str) -> PlaceText:
        found = None
        if index < self.verb:
            found = read_place(self.scalar, self.tokens[index])
        if found is None or found.pin is None:
            raise self._unread(f"{wanted} is wanted here", index)
        return found

    def _only(self, count: int) -> None:
        if self.verb > count:
            raise self._unread("`is` is wanted here", count)

    def _signal(self) -> ExpectLine:
        if self.verb < 2:
            raise self._unread("the name of a signal is wanted here", 1)
        self._only(2)
        state = self.tokens[self.verb + 1 : self.when]
        if len(state) != 1 or state[0].text not in {"on", "off"}:
            raise self._unread("`on` or `off` is wanted here", self.verb + 1)
        name = word_at(self.scalar, self.tokens[1])
        wanted_on = state[0].text == "on"
        return self._line("signal", signal=name, wanted_on=wanted_on)

    def _current(self) -> ExpectLine:
        if self.verb < 2 or self.tokens[1].text != "through":
            raise self._unread("`through` is wanted here", 1)
        conductor = self._place(2, "a core, such as `W1:BN`,")
        self._only(3)
        return self._line("current", conductor=conductor, limits=self._limits("amps"))

    def _voltage(self) -> ExpectLine:
        a = self._place(0, "a terminal, such as `K1-X1:4`, or `signal` or `current`")
        if self.verb < 2 or self.tokens[1].text != "to":
            raise self._unread("`to` and the other terminal are wanted here", 1)
        b = self._place(2, "a terminal, such as `K1-X1:3`,")
        self._only(3)
        return self._line("voltage", a=a, b=b, limits=self._limits("volts"))

    def _limits(self, dimension: str) -> tuple[float, float]:
        first = self.verb + 1
        if first >= self.when:
            raise self._unread("a range, such as `23..24.5 V`, is wanted here", first)
        word = self.tokens[first].text
        bound = word if word in {"under", "over"} else ""
        if bound:
            first += 1
        if first >= self.when:
            raise self._unread(f"a value is wanted after `{bound}`", first)
        value = self._quantity(self.tokens[first : self.when], dimension)
        if isinstance(value, Diagnostic):
            raise _UnreadError(value)
        low, high = value
        if bound == "under":
            return -math.inf, high
        if bound == "over":
            return low, math.inf
        if low == high:
            raise self._unread(f"a range is wanted; {_SINGLE_VALUE}", first, "N033")
        return low, high

    def _quantity(self, tokens: list[Token], dimension: str) -> tuple[float, float] | Diagnostic:
        start, end = tokens[0].start, tokens[-1].end
        span = self.scalar.part(start, end)
        value = parse_quantity(self.scalar.text[start:end], dimension, span)
        return value if isinstance(value, Diagnostic) else (value.low, value.high)

    def _line(
        self,
        kind: str,
        *,
        a: PlaceText | None = None,
        b: PlaceText | None = None,
        conductor: PlaceText | None = None,
        signal: Word | None = None,
        wanted_on: bool = False,
        limits: tuple[float, float] = (-math.inf, math.inf),
    ) -> ExpectLine:
        return ExpectLine(
            kind,
            a,
            b,
            conductor,
            signal,
            wanted_on,
            *limits,
            self._while(),
            self.scalar.text,
            self.scalar.span,
        )
