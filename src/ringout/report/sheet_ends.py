"""The connection sheet's ends: what is landed where, how it is made off and how it is labelled."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ringout.cell.model import Cell, Item, Terminal
from ringout.cell.part import Core
from ringout.report.faces_model import (
    OTHER_GENDER,
    WIRING,
    bare_face,
    counting_words,
    fitted_name,
    where_words,
)
from ringout.report.sheet_groups import Group, Way, groups_of, place_of, place_words, work_at
from ringout.report.sheet_make import (
    House,
    MadeOff,
    colour_words,
    gauge,
    is_stranded,
    make_for_clamp,
    make_for_plug,
    nut_words,
    sheath_mm,
)
from ringout.report.sheet_model import CLAMP, FIELD_PLUG, LEAD, LINK, PLUGGED, End, Row
from ringout.report.sheet_nets import Nets
from ringout.tables.contacts import connector_rating
from ringout.tables.faces import connectors

SPARE = "spare: cut back, insulate, label"
NOTHING_TO_STRIP = "plugged: nothing to strip"


@dataclass(frozen=True, slots=True)
class Plug:
    """The connector a cable end carries at one place."""

    connector: str
    gender: str


def build_ends(cell: Cell, nets: Nets, house: House) -> tuple[End, ...]:
    """Return every end of every cable, link and direct plug, in the order of work.

    Args:
        cell: the resolved cell.
        nets: its nets.
        house: house rules.
    """
    return _EndBuilder(cell, nets, house).run()


def plug_for(item: Item, terminals: list[Terminal]) -> Plug | None:
    """Return the connector that must be on a cable end to land on these pins of an item.

    A plug with no more pins than needed is chosen: a 4-pin plug fits a 5-pin socket, not the
    other way round. A field-wireable connector that is an item itself is its own answer.
    """
    socket = item.part.sockets.get(terminals[0].socket)
    if socket is None:
        if item.part.family == "connector" and len(item.part.sockets) == 1:
            own = next(iter(item.part.sockets.values()))
            return Plug(own.connector, own.gender)
        return None
    if socket.clamps:
        return None
    connector = socket.connector
    if connector in {"m12-a-5", "m12-b-5"} and all(
        t.pin in {"1", "2", "3", "4"} for t in terminals
    ):
        connector = connector[:-1] + "4"
    return Plug(connector, OTHER_GENDER.get(socket.gender, socket.gender))


class _EndBuilder:
    def __init__(self, cell: Cell, nets: Nets, house: House) -> None:
        self.cell = cell
        self.nets = nets
        self.house = house
        self.by_hand: dict[Terminal, list[str]] = {}
        for join in cell.joins:
            if not join.plugged:
                for here, far in ((join.a, join.b), (join.b, join.a)):
                    name = join.conductor if join.cable else f"wire to {far}"
                    self.by_hand.setdefault(here, []).append(name)
        self.plug_of: dict[tuple[str, str], str] = {}

    def run(self) -> tuple[End, ...]:
        return tuple(
            end
            for group in groups_of(self.cell)
            for number in (0, 1)
            for end in self._ends(group, number)
        )

    def _ends(self, group: Group, number: int) -> Iterator[End]:
        places = group.places(number)
        for place in places:
            ways = [w for w in group.ways if place_of(w.here[number]) == place]
            item = self.cell.items[place[0]]
            order = {t: n for n, t in enumerate(item.terminals())}
            ways.sort(key=lambda w: order.get(w.here[number], 0))
            yield self._end(group, number, ways, last=place == places[-1])

    def _end(self, group: Group, number: int, ways: list[Way], *, last: bool) -> End:
        place = place_of(ways[0].here[number])
        item = self.cell.items[place[0]]
        works = [work_at(self.cell, group, w, number) for w in ways]
        work = next((w for w in (FIELD_PLUG, CLAMP, LINK, LEAD) if w in works), PLUGGED)
        terminals = [w.here[number] for w in ways]
        plug = self._plug(group, item, terminals, work)
        seen = _seen(plug) if plug is not None and work == FIELD_PLUG else {}
        rows = [self._row(group, w, number, seen) for w in ways]
        if last:
            rows += self._spares(group, work)
        sheathed = group.cable is not None and len(group.cable.part.cores) > 1
        return End(
            cable=group.name,
            part=group.cable.part.name if group.cable is not None else "",
            end=number + 1,
            place=place_words(place),
            note=item.note,
            work=work,
            connector=plug.connector if plug is not None else "",
            gender=plug.gender if plug is not None else "",
            fit=self._fit(group, work, plug, item, place),
            sheath_mm=sheath_mm(plug.connector)
            if plug is not None and work == FIELD_PLUG and sheathed
            else None,
            nut=nut_words(plug.connector, self.house.market) if plug is not None else "",
            cautions=tuple(self._end_cautions(group, number, work, plug)),
            rows=tuple(rows),
        )

    def _plug(self, group: Group, item: Item, terminals: list[Terminal], work: str) -> Plug | None:
        if work == PLUGGED:
            socket = item.part.sockets.get(terminals[0].socket)
            if socket is None:
                return None
            if group.cable is None:
                # A direct plug: this end is the item's own connector.
                return Plug(socket.connector, socket.gender)
            wanted = OTHER_GENDER.get(socket.gender, "")
            own = [e for e in group.cable.part.ends or () if e[1] == wanted]
            found = next((e for e in own if e[0].rpartition("-")[0] in socket.connector), None)
            return Plug(*found) if found else Plug(socket.connector, wanted)
        if work != FIELD_PLUG:
            return None
        # Several cables may share the plug of one socket; all their pins count.
        place = place_of(terminals[0])
        every = [t for t in self.by_hand if place_of(t) == place]
        return plug_for(item, every)

    def _fit(
        self, group: Group, work: str, plug: Plug | None, item: Item, place: tuple[str, str]
    ) -> str:
        if work == LINK:
            return "short link of the size of the core beside it"
        if work == LEAD:
            if item.part.family == "component":
                return f"own lead of {item.name}: sleeve it; it is landed at its other end"
            return "land the lead beside the core"
        if work == CLAMP or plug is None:
            return "land in the clamps"
        name = fitted_name(plug.connector, plug.gender)
        if work == PLUGGED:
            return f"{NOTHING_TO_STRIP}; {name}, push home and tighten"
        first = self.plug_of.setdefault(place, group.name)
        if not place[1]:
            start = f"{item.name} is a field-wireable {name}"
        elif first != group.name:
            start = f"same plug as {first}: field-wireable {name}"
        else:
            start = f"fit a field-wireable {name} to this end"
        counting = counting_words(plug.connector, plug.gender, WIRING) if _seen(plug) else ""
        tail = f", {counting}" if counting else ""
        return f"{start}; pins as seen from its WIRING side, key up{tail}"

    def _end_cautions(
        self, group: Group, number: int, work: str, plug: Plug | None
    ) -> Iterator[str]:
        places = group.places(number)
        round_ones = [p for p in places if plug_for(self.cell.items[p[0]], [Terminal(*p, "1")])]
        if work == FIELD_PLUG and group.cable is not None and len(round_ones) > 1:
            names = ", ".join(place_words(p) for p in round_ones)
            yield (
                f"this end goes to {len(round_ones)} connectors ({names}): branch it in a box "
                "or take a cable for each"
            )
        if work == FIELD_PLUG and plug is not None and group.cable is not None:
            thick = max((c.area_mm2 for c in group.cable.part.cores), default=0.0)
            try:
                most = connector_rating(plug.connector).area_max_mm2
            except KeyError:
                return
            if thick > most:
                yield f"{thick:.3g} mm2 is more than this connector takes ({most:g} mm2)"

    # -- rows ----------------------------------------------------------------------------

    def _row(self, group: Group, way: Way, number: int, seen: dict[str, str]) -> Row:
        join, terminal, far = way.join, way.here[number], way.here[1 - number]
        item = self.cell.items[terminal.item]
        core = group.cable.core(join.core) if group.cable is not None else None
        area = core.area_mm2 if core is not None else None
        if group.kind == LINK:
            area = self._beside(terminal, far)
        own_work = work_at(self.cell, group, way, number)
        made = self._made(group, item, terminal, own_work, area)
        label, far_label = labels(group, way, number)
        return Row(
            core=join.core,
            colour=colour_words(join.core) if join.core else "",
            area_mm2=area,
            awg=gauge(area),
            terminal=str(terminal),
            pin=terminal.pin,
            seen=seen.get(terminal.pin, ""),
            carries=self.nets.carries(terminal),
            ferrule=made.ferrule,
            strip_mm=made.strip_mm,
            torque_nm=made.torque_nm,
            label=label,
            far=str(far),
            far_label=far_label,
            cautions=tuple(self._row_cautions(terminal, own_work)),
        )

    def _made(
        self, group: Group, item: Item, terminal: Terminal, work: str, area: float | None
    ) -> MadeOff:
        if work == FIELD_PLUG:
            return make_for_plug(_connector(item, terminal))
        if work == PLUGGED or (work == LEAD and item.part.family == "component"):
            return MadeOff(None, None, None)
        cable = group.cable.part if group.cable is not None else None
        return make_for_clamp(item.part, area, self.house, stranded=is_stranded(cable))

    def _row_cautions(self, terminal: Terminal, work: str) -> Iterator[str]:
        held = self.by_hand.get(terminal, [])
        if work in {CLAMP, LINK, LEAD} and len(held) > 1:
            count = {2: "two", 3: "three"}.get(len(held), str(len(held)))
            yield f"{count} conductors in this clamp: {', '.join(held)}"
        elif work == FIELD_PLUG and len(held) > 1:
            yield f"{len(held)} conductors on this pin: {', '.join(held)}; a pin takes one"

    def _beside(self, *terminals: Terminal) -> float | None:
        """Return the thickest core landed by hand at these terminals: a link is made of that."""
        areas = [
            core.area_mm2
            for t in terminals
            for join in self.nets.joins_at.get(t, ())
            if join.cable and not join.plugged
            if (core := self.cell.cables[join.cable].core(join.core)) is not None
        ]
        return max(areas, default=None)

    def _spares(self, group: Group, work: str) -> list[Row]:
        if group.cable is None:
            return []
        used = {w.join.core for w in group.ways}
        return [
            self._spare(group.name, c, work) for c in group.cable.part.cores if c.colour not in used
        ]

    @staticmethod
    def _spare(cable: str, core: Core, work: str) -> Row:
        label = "" if work == PLUGGED else f"{cable}:{core.colour} spare"
        what = "carries nothing here: no contact at the other side" if work == PLUGGED else SPARE
        return Row(
            core=core.colour,
            colour=colour_words(core.colour),
            area_mm2=core.area_mm2,
            awg=gauge(core.area_mm2),
            terminal="",
            pin="",
            seen="",
            carries="",
            ferrule=None,
            strip_mm=None,
            torque_nm=None,
            label=label,
            far="",
            far_label=label,
            spare=True,
            cautions=(what,),
        )


def labels(group: Group, way: Way, number: int) -> tuple[str, str]:
    """Return what to write on this end and on the other: own place first, then where it goes.

    A made-up cordset is marked as a whole, since nobody can put a band on its cores; a
    component's own leads carry no label.
    """
    if group.kind == LEAD:
        return "", ""
    here, far = way.here[number], way.here[1 - number]
    if way.join.plugged:
        near_words, far_words = place_words(place_of(here)), place_words(place_of(far))
    else:
        near_words, far_words = str(here), str(far)
    name = ""
    if group.cable is not None:
        name = f"{group.name} " if way.join.plugged else f"{group.name}:{way.join.core} "
    return f"{name}{near_words} > {far_words}", f"{name}{far_words} > {near_words}"


def _connector(item: Item, terminal: Terminal) -> str:
    socket = item.part.sockets.get(terminal.socket)
    return (
        socket.connector if socket is not None else next(iter(item.part.sockets.values())).connector
    )


def _seen(plug: Plug) -> dict[str, str]:
    """Return where each pin of a plug is, from its wiring side; empty when not known."""
    if plug.connector not in connectors() or plug.gender not in OTHER_GENDER:
        return {}
    return where_words(bare_face(plug.connector, plug.gender), WIRING)
