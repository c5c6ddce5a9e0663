"""What the connection sheet shows, as frozen data: ends, cut list, faces and channels."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.report.faces_model import Face

CLAMP = "clamp"  # land the core in a clamp of the item
FIELD_PLUG = "field plug"  # land the core in a field-wireable connector
PLUGGED = "plugged"  # push a made-up connector home
LINK = "link"  # a short wire between two clamps of the cell
LEAD = "lead"  # the own lead of a resistor or diode


@dataclass(frozen=True, slots=True)
class Ferrule:
    """A collared end sleeve; the collar's colour means nothing without the series."""

    area_mm2: float
    colour: str
    series: str
    barrel_mm: float


@dataclass(frozen=True, slots=True)
class Row:
    """One core at one end.

    Args:
        core: colour code or number of the core; empty for a link or direct plug.
        colour: colour in words.
        area_mm2: cross-section; None for a link with no core beside it.
        awg: nearest gauge; None when the cross-section is not known.
        terminal: where it lands; empty for a spare core.
        pin: the terminal's pin or clamp.
        seen: where the pin is, from the side one works on; empty for marked clamps.
        carries: signal, or `+24 V`, `0 V`, `PE`; empty when neither is known.
        ferrule: sleeve to crimp, if any.
        strip_mm: bare length; None when nothing is stripped.
        torque_nm: clamp screw; None when there is none or the maker alone knows.
        label: what to write on this end.
        far: terminal at the other end.
        far_label: what to write on the other end.
        spare: the core is not joined.
        cautions: what to mind here.
    """

    core: str
    colour: str
    area_mm2: float | None
    awg: int | None
    terminal: str
    pin: str
    seen: str
    carries: str
    ferrule: Ferrule | None
    strip_mm: float | None
    torque_nm: float | None
    label: str
    far: str
    far_label: str
    spare: bool = False
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class End:
    """One place at one end of a cable: everything that is done there in one go.

    Args:
        cable: the cable; `link`, `lead` or `plug` where no cable is between.
        part: the cable's part; empty for links and direct plugs.
        end: 1 or 2; end 1 is where the first join line of the cable begins.
        place: item, or item and socket.
        note: what the item is, in the user's words.
        work: `clamp`, `field plug`, `plugged`, `link` or `lead`.
        connector: connector that is fitted or plugged here; empty at clamps.
        gender: its gender.
        fit: one sentence that says what to do.
        sheath_mm: sheath to take off, lowest and highest; None at clamps and plugged ends.
        nut: torque of the coupling nut or screw in words; empty without one.
        cautions: what to mind here.
        rows: cores in the order of the item's own terminals, spare ones last.
    """

    cable: str
    part: str
    end: int
    place: str
    note: str
    work: str
    connector: str
    gender: str
    fit: str
    sheath_mm: tuple[float, float] | None
    nut: str
    cautions: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class CutRow:
    """One cable: what to cut or take from the shelf and how many ends to make off."""

    cable: str
    part: str
    title: str
    cores: str
    length_m: float
    from_place: str
    to_place: str
    ends_by_hand: int
    used_cores: int
    spare_cores: int


@dataclass(frozen=True, slots=True)
class MetreRow:
    """How much of one cable type is needed: metres off the drum, or ready-made pieces."""

    part: str
    title: str
    length_m: float
    pieces: int
    made_up: bool


@dataclass(frozen=True, slots=True)
class FerruleRow:
    """How many sleeves of one size."""

    area_mm2: float
    colour: str
    series: str
    barrel_mm: float
    count: int


@dataclass(frozen=True, slots=True)
class PlugRow:
    """How many field-wireable connectors of one kind, and where they go."""

    connector: str
    gender: str
    count: int
    places: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CutList:
    """Everything to cut, buy and print before the first end is made off."""

    cables: tuple[CutRow, ...]
    metres: tuple[MetreRow, ...]
    ferrules: tuple[FerruleRow, ...]
    plugs: tuple[PlugRow, ...]
    core_labels: int
    cable_labels: int
    links: int


@dataclass(frozen=True, slots=True)
class IoRow:
    """One channel of a controller.

    Args:
        controller: the item.
        channel: the channel.
        kind: `input` or `output`.
        terminals: every terminal of the item that is this channel; the joined one first.
        signal: name of the signal, if one is named.
        meaning: what it says, from the notes of the devices.
        devices: what stands at the other end, splitters and terminals passed through.
        cable: nearest cable on the way.
        core: its core.
        on: when the input must be on, or what the output drives.
        status: `used`, `free`, `no name` (a device, but no signal) or
            `not joined` (a signal, but no device).
    """

    controller: str
    channel: str
    kind: str
    terminals: tuple[str, ...]
    signal: str
    meaning: str
    devices: tuple[str, ...]
    cable: str
    core: str
    on: str
    status: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole sheet of one cell.

    Args:
        cell: name of the cell.
        revision: its revision.
        file_hash: first figures of the content hash of what was read.
        market: `iec` or `us`; `us` puts AWG, inches and pound-inches beside.
        ferrule_series: series all collar colours are of.
        ends: every end, in the order of work.
        cut: the cut list.
        faces: one face for each used socket.
        io: every channel of every controller.
        notes: what holds for the whole sheet.
    """

    cell: str
    revision: str
    file_hash: str
    market: str
    ferrule_series: str
    ends: tuple[End, ...]
    cut: CutList
    faces: tuple[Face, ...]
    io: tuple[IoRow, ...]
    notes: tuple[str, ...]
