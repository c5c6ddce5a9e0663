"""What the handover pack shows beside the connection sheet, as frozen data."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.report.sheet_model import Sheet


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing.

    Args:
        name: short name, fit for a file.
        title: what it shows, in words.
        width_mm: width on paper.
        height_mm: height on paper.
        svg: the picture; its units are millimetres.
        words: every word written on it.
    """

    name: str
    title: str
    width_mm: float
    height_mm: float
    svg: str
    words: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class LevelRow:
    """A guaranteed level of a signal and what a meter must show.

    Args:
        when: which states it holds for, in words.
        red: terminal for the red probe; empty when nothing is landed there.
        black: terminal for the black probe.
        typical: volts as text.
        expect: lowest to highest volts as text.
        current: milliamperes as text.
        limit: what the channel or load asks for, as text.
        margin: volts to the limit as text.
        worst: the state in which the margin is smallest.
        proven: the range is proven.
    """

    when: str
    red: str
    black: str
    typical: str
    expect: str
    current: str
    limit: str
    margin: str
    worst: str
    proven: bool


@dataclass(frozen=True, slots=True)
class Note:
    """A finding with the cure chosen for it.

    Args:
        code: code of the finding.
        severity: `error`, `warning` or `note`.
        place: what it is about.
        message: the finding in words.
        cure: the first proven cure; empty for none.
        edits: changed lines of the cell file, (old, new).
        margins: what the cure does to the margins, in words.
        where: place in the file.
        source: where the rule is from.
        accepted: why the user takes it as it is; empty when not.
    """

    code: str
    severity: str
    place: str
    message: str
    cure: str
    edits: tuple[tuple[str, str], ...]
    margins: tuple[str, ...]
    where: str
    source: str
    accepted: str


@dataclass(frozen=True, slots=True)
class SignalPage:
    """One signal: its drawing and what is known of it.

    Args:
        name: the signal.
        channel: controller and channel.
        kind: `input` or `output`.
        meaning: from the notes of the devices.
        rule: when it is on, or what it drives.
        verdict: works, marginal, fails, undecided or not run.
        pictures: its drawing, on one sheet or more.
        levels: levels on and off.
        notes: findings about it.
        items: items that take part.
        cables: cables that take part.
        parts: (item, note) of components fitted for it, such as a bleeder or a suppressor.
        steps: numbers of the checkout's steps that look at it.
        without: what would be found if those components were empty.
    """

    name: str
    channel: str
    kind: str
    meaning: str
    rule: str
    verdict: str
    pictures: tuple[Picture, ...]
    levels: tuple[LevelRow, ...]
    notes: tuple[Note, ...]
    items: tuple[str, ...]
    cables: tuple[str, ...]
    parts: tuple[tuple[str, str], ...]
    steps: tuple[int, ...] = ()
    without: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BillRow:
    """One kind of thing to buy: how many and for which places."""

    group: str
    part: str
    title: str
    count: str
    used_as: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True)
class Label:
    """What one end of a core or cable carries.

    Args:
        text: the whole label as on the connection sheet.
        name: core or cable.
        here: its own terminal or place.
        there: the other end.
        code: what the square code says.
        cable: the cable.
        place: item, or item and socket, where it is put on.
    """

    text: str
    name: str
    here: str
    there: str
    code: str
    cable: str
    place: str


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step of the checkout as it is worked through on paper.

    Args:
        number: its number.
        phase: `dead`, `power` or `function`.
        do: the instruction.
        expect: what must be seen.
        if_not: what anything else means.
        measured: a figure is read, with a field to fill.
        unit: its unit.
        items: items it is done at.
        about: signals, channels, loads and terminals it looks at.
    """

    number: int
    phase: str
    do: str
    expect: str
    if_not: str
    measured: bool
    unit: str
    items: tuple[str, ...]
    about: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Procedure:
    """The checkout for paper.

    Args:
        summary: what it proves, one sentence each.
        stages: supplies and protections in the order they are switched on.
        before: what to look at before power, each with a box to tick.
        unguarded: what can do harm and nothing shows before power.
        steps: the steps.
        hidden: (reason, faults) that no step shows.
    """

    summary: tuple[str, ...]
    stages: tuple[str, ...]
    before: tuple[str, ...]
    unguarded: tuple[str, ...]
    steps: tuple[StepRow, ...]
    hidden: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class RecordRow:
    """One step as it was done.

    Args:
        number: its number.
        do: the instruction.
        expect: what had to be seen.
        read: what was said of it; empty where it is open.
        verdict: `right`, `wrong` or `open`.
        who: who read it.
        at: when.
        turns: how often it was read.
        carried: run it was really read in, 0 for this one.
    """

    number: int
    do: str
    expect: str
    read: str
    verdict: str
    who: str
    at: str
    turns: int
    carried: int


@dataclass(frozen=True, slots=True)
class RecordPage:
    """The newest run of the checkout, as it is on record.

    Args:
        run: its number.
        runs: how many runs there are.
        state: `passed`, `failed` or `open`.
        who: who started it.
        at: when.
        last_at: when its last reading was made.
        meter: what it was done with.
        source: `checkout` or `live`.
        file: name of the file it was done with.
        file_hash: first figures of that file's hash.
        revision: that file's revision.
        same_file: it is the file this pack is made of.
        base: run it goes on from, 0 for none.
        right: steps that are right.
        wrong: steps that are wrong.
        open: steps without a reading.
        steps: all steps.
        remarks: (step, words, who, when).
        photos: (name, words, first figures of the hash).
        records: number of the last record of the chain.
        head: hash of that record.
    """

    run: int
    runs: int
    state: str
    who: str
    at: str
    last_at: str
    meter: str
    source: str
    file: str
    file_hash: str
    revision: str
    same_file: bool
    base: int
    right: int
    wrong: int
    open: int
    steps: tuple[RecordRow, ...]
    remarks: tuple[tuple[str, str, str, str], ...]
    photos: tuple[tuple[str, str, str], ...]
    records: int
    head: str


@dataclass(frozen=True, slots=True)
class Pack:
    """Everything a fitter is handed.

    Args:
        sheet: connections, cut list, faces and channels.
        file: name of the cell file without its folder.
        ambient: ambient temperature in words.
        verdict: what the calculation says, first sentence first.
        ready: nothing stands against wiring it as drawn.
        problems: what is wrong with the file itself.
        notes: all findings.
        overview: drawings of the whole cell.
        supply: drawings of the supply.
        signals: one entry per signal, in the order of the file.
        cables: cable to its drawing with both ends.
        faces: place of a face to its drawing from both sides.
        maps: terminal strip, splitter or box to its map.
        bill: bill of materials.
        labels: labels of all ends.
        procedure: the checkout, or None where it did not run.
        not_run: (check, why) of everything that did not run or is not proven.
        expects: what the file says must hold, in its own words.
        items: reference designation to what it is.
        date: date to print; empty for none.
        record: the newest run on record, or None.
    """

    sheet: Sheet
    file: str
    ambient: str
    verdict: tuple[str, ...]
    ready: bool
    problems: tuple[str, ...]
    notes: tuple[Note, ...]
    overview: tuple[Picture, ...]
    supply: tuple[Picture, ...]
    signals: tuple[SignalPage, ...]
    cables: tuple[tuple[str, Picture], ...]
    faces: tuple[tuple[str, Picture], ...]
    maps: tuple[tuple[str, tuple[Picture, ...]], ...]
    bill: tuple[BillRow, ...]
    labels: tuple[Label, ...]
    procedure: Procedure | None
    not_run: tuple[tuple[str, str], ...]
    expects: tuple[str, ...]
    items: tuple[tuple[str, str], ...]
    date: str = ""
    record: RecordPage | None = None

    @property
    def errors(self) -> bool:
        """Return whether a finding that nobody accepted says that the cell is wrong."""
        return any(n.severity == "error" and not n.accepted for n in self.notes)
