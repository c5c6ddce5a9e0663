"""What judgement produces: levels, signal results, findings and remedies, all frozen."""

from __future__ import annotations

from dataclasses import dataclass, field

from ringout.base import Severity, Span


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number of a finding with its unit as people write it (`V`, `mA`, `m`, `ms`)."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Margin:
    """What a remedy does to one signal: margins in volts before and after, on and off."""

    signal: str
    on_before_v: float | None
    on_after_v: float | None
    off_before_v: float | None
    off_after_v: float | None


@dataclass(frozen=True, slots=True)
class Remedy:
    """A change that cures a finding; `proven` means it was applied and solved again.

    Args:
        text: the change in one sentence.
        proven: the changed cell was solved and no longer has the finding, and no new one.
        margins: affected signals before and after.
        edit: the changed lines in the cell file's own syntax, old line to new line.
    """

    text: str
    proven: bool
    margins: tuple[Margin, ...] = ()
    edit: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """A fact worth telling.

    Args:
        code: `F` and three digits.
        severity: how much it matters.
        message: one or two plain sentences.
        where: places in the file, the most important first.
        place: what it is about (`K1.I4`, `W2:BN`, `B6`), the word `accept` lines use.
        numbers: the figures behind it.
        source: key of the rule's source, or `common practice`.
        remedies: cures, proven ones first.
        about: extra keys for remedy makers: signal, element or item names.
    """

    code: str
    severity: Severity
    message: str
    where: tuple[Span, ...]
    place: str
    numbers: tuple[Quantity, ...] = ()
    source: str = ""
    remedies: tuple[Remedy, ...] = ()
    about: tuple[tuple[str, str], ...] = ()
    accepted: str = ""

    def get(self, key: str) -> str:
        """Return an `about` value, or an empty string."""
        return dict(self.about).get(key, "")

    @property
    def key(self) -> tuple[str, str]:
        """Return what identifies the finding when a changed cell is judged again."""
        return (self.code, self.place)


@dataclass(frozen=True, slots=True)
class Level:
    """Guaranteed range of a level in one meaning of its signal; volts and milliamperes."""

    v_low: float
    v_typ: float
    v_high: float
    i_typ_ma: float
    margin_v: float
    proven: bool
    worst_while: str = ""


@dataclass(frozen=True, slots=True)
class SignalResult:
    """One signal judged: `verdict` is works, marginal, fails or undecided."""

    name: str
    channel: str
    kind: str
    verdict: str
    on: Level | None
    off: Level | None
    on_limit_v: float | None
    off_limit_v: float | None
    span: Span
    item: str = ""


@dataclass(frozen=True, slots=True)
class NotRun:
    """A check that did not run, and why; never to be read as passed."""

    check: str
    why: str


@dataclass(frozen=True, slots=True)
class BranchLoad:
    """Current of a supply or branch: typical at rest, highest guaranteed, what it allows.

    `in_limit` says that the supply limits the current: more is wanted than it gives.
    """

    name: str
    rest_a: float
    high_a: float
    limit_a: float
    span: Span
    in_limit: bool = False


@dataclass(frozen=True)
class Judgement:
    """The whole verdict on a cell."""

    signals: tuple[SignalResult, ...]
    findings: tuple[Finding, ...]
    not_run: tuple[NotRun, ...]
    branches: tuple[BranchLoad, ...] = ()
    states: int = 0
    solves: int = 0
    worst_residual_a: float = 0.0
    expects_held: int = 0
    extra: dict[str, object] = field(default_factory=dict)
