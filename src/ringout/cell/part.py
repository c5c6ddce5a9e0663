"""What a part is: its terminals, what it can do and the circuit inside it, as frozen data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ringout.base import Interval, Span

# Each element kind with the values it needs, those it may have, and their dimensions.
ELEMENT_KINDS: dict[str, dict[str, str]] = {
    # two-terminals without memory; `ohm`, `volts` ... are the value names used in part files
    "resistance": {"ohm": "ohms"},
    "contact": {"closed?": "ohms"},
    "diode": {"volts?": "volts", "ohm?": "ohms"},
    "clamp": {"volts": "volts", "forward?": "volts"},
    "drop": {"drop": "volts", "ohm?": "ohms", "limit?": "amps", "body?": "volts"},
    "leak": {"current": "amps", "knee?": "volts"},
    "load": {"current": "amps", "knee?": "volts"},
    "lamp": {"current": "amps", "volts?": "volts", "nominal?": "volts", "reverse?": "volts"},
    "coil": {"ohm": "ohms", "pulls_in?": "volts", "releases?": "volts", "inductance?": "henry"},
    "source": {"volts": "volts", "ohm": "ohms", "limit?": "amps", "retry_above?": "amps"},
    "fuse": {"rated": "amps", "ohm?": "ohms"},
    "breaker": {"rated": "amps", "ohm?": "ohms"},
    "protection": {"set": "amps", "ohm?": "ohms", "cuts_below?": "volts"},
    "bond": {"ohm?": "ohms"},
}
# What any element may carry beside its own values.
COMMON_VALUES: dict[str, str] = {
    "max?": "amps",  # continuous current rating
    "max_v?": "volts",  # voltage rating across the element
    "min?": "amps",  # needs at least this current when it conducts
    "works_from?": "volts",  # a load does its job from this voltage up
    "off_below?": "volts",  # a load surely does nothing below this voltage
    "shows_from?": "amps",  # a lamp can be seen to glow from this current up
    "inrush?": "ratio",  # peak current at switching on, as a multiple
    "watts?": "watts",  # the heat a resistor stands
    "wet_v?": "volts",  # a contact wants at least this voltage
    "wet_a?": "amps",  # and this current to stay clean
    "pulse?": "seconds",  # test pulses: width
    "every?": "seconds",  # test pulses: spacing
}
# Words an element may carry.
ELEMENT_WORDS: frozenset[str] = frozenset(
    {"material", "overload", "curve", "drives", "safety", "bounce", "fuse_kind"}
)


@dataclass(frozen=True, slots=True)
class ElementSpec:
    """One two-terminal inside a part; current counts positive from `tail` to `head`.

    Args:
        name: name inside the part.
        kind: a key of `ELEMENT_KINDS`.
        tail: net of the part the current enters.
        head: net of the part the current leaves.
        values: quantities in SI units by name.
        words: further properties that are words.
        when: positions of the part's actors in which the element conducts; empty means always.
        powered: conducts only while the part's `alive` condition holds.
        actor: actor the words of `when` belong to; empty when there are none.
        span: the line of the part file.
    """

    name: str
    kind: str
    tail: str
    head: str
    values: Mapping[str, Interval]
    words: Mapping[str, str]
    when: tuple[str, ...]
    powered: bool
    actor: str
    span: Span


@dataclass(frozen=True, slots=True)
class Socket:
    """A connector of a part: `pins` maps each pin to the part's own net behind it."""

    name: str
    connector: str
    gender: str
    pins: Mapping[str, str]
    span: Span

    @property
    def clamps(self) -> bool:
        """Return whether it is a row of clamps rather than a round plug."""
        return self.connector.startswith("terminal")


@dataclass(frozen=True, slots=True)
class Channel:
    """One input or output of a controller, judged on the element it names.

    Args:
        name: channel name, such as `I1`.
        kind: `input` or `output`.
        element: element whose voltage is the channel's level.
        limits: key of the table of input limits, or `own` when the values stand here.
        values: `on_v`, `off_v`, `on_a`, `off_a`, `filter_s`, `scan_s` as far as known.
        group: channels with the same group share their common terminal.
        span: the line of the part file.
    """

    name: str
    kind: str
    element: str
    limits: str
    values: Mapping[str, Interval]
    group: str
    span: Span


@dataclass(frozen=True, slots=True)
class Alive:
    """A part's electronics work while `tail` to `head` stays above `above_v`."""

    tail: str
    head: str
    above_v: Interval
    span: Span


@dataclass(frozen=True, slots=True)
class Core:
    """One conductor of a cable: colour code and copper cross-section."""

    colour: str
    area_mm2: float
    from_pin: str = ""
    to_pin: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """A type of thing that can stand in a cell, read from a part file.

    Args:
        name: the word used in cell files.
        title: one line that says what it is.
        family: `sensor`, `switch`, `controller`, `supply`, `protection`, `load`, `relay`,
            `cable`, `cordset`, `connector`, `component` or `terminal`.
        letter: usual first letter of the reference designation.
        use: what it is typically used for.
        mistakes: what goes wrong with it most often.
        source: key in `tables/data/sources.toml`, or words `common practice` or `memory`.
        terminals: free terminal name to net.
        marks: terminal or pin to the mark or function printed beside it.
        sockets: connectors by name.
        actors: actor name to its positions, the rest position first.
        elements: the inside.
        channels: inputs and outputs, by name.
        alive: brown-out condition, if any.
        cores: conductors of a cable or cordset.
        ends: connector and gender at the two ends of a cordset, `(near, far)`.
        settings: setting name to its default text.
        facts: further words, such as `class`, `plating`, `safety`, `holds`, `clamp`.
        main: name of the element a driven load is judged on.
        span: first line of the part file.
    """

    name: str
    title: str
    family: str
    letter: str
    use: str
    mistakes: tuple[str, ...]
    source: str
    terminals: Mapping[str, str]
    marks: Mapping[str, str]
    sockets: Mapping[str, Socket]
    actors: Mapping[str, tuple[str, ...]]
    elements: tuple[ElementSpec, ...]
    channels: Mapping[str, Channel]
    alive: Alive | None
    cores: tuple[Core, ...]
    ends: tuple[tuple[str, str], tuple[str, str]] | None
    settings: Mapping[str, str]
    facts: Mapping[str, str]
    main: str
    span: Span
    element_by_name: Mapping[str, ElementSpec] = field(default_factory=dict)

    def ends_of(self, channel: Channel) -> tuple[str, str]:
        """Return the two nets a channel stands between."""
        element = self.element_by_name[channel.element]
        return element.tail, element.head

    def channels_at(self, net: str | None) -> list[Channel]:
        """Return the channels that end on a net: one on its own net, many on a common."""
        return [c for c in self.channels.values() if net in self.ends_of(c)]

    def actor_of(self, position: str) -> str | None:
        """Return the actor that has this position, or None."""
        for actor, positions in self.actors.items():
            if position in positions:
                return actor
        return None
