"""Statements to cell: parts found, names resolved, every value in SI units."""

from __future__ import annotations

from collections.abc import Mapping

from ringout.base import Diagnostic, Interval, Related, Span
from ringout.base.collect import Collector
from ringout.base.quantity import parse_quantity
from ringout.base.suggest import did_you_mean
from ringout.cell.catalogue import load_part, part_file, part_names
from ringout.cell.edit import index_joins
from ringout.cell.joins import JoinBuilder, JoinWords
from ringout.cell.links import LinkReader
from ringout.cell.meaning import Meaning
from ringout.cell.model import Actor, Cable, Cell, Item
from ringout.cell.part import Part
from ringout.cell.places import Places
from ringout.cellfile.statements import CableLine, CellText, ItemLine
from ringout.cellfile.tree import Node, Scalar
from ringout.cellfile.tree import Sequence as SequenceNode
from ringout.cellfile.words import Word

DEFAULT_AMBIENT_C = Interval(5.0, 20.0, 40.0)  # common practice for a workshop
_FREE_SETTINGS = frozenset({"place", "note"})


def resolve_cell(text: CellText, *, folder: str = "") -> tuple[Cell, tuple[Diagnostic, ...]]:
    """Resolve statements to a cell.

    Args:
        text: the statements of the file.
        folder: the cell's folder, where user parts are looked for.

    Returns:
        The cell with every statement that could be used, and what is wrong with the others.
    """
    return _Resolver(text, folder).run()


class _Resolver(Collector):
    def __init__(self, text: CellText, folder: str) -> None:
        self.text = text
        self.folder = folder
        self.problems: list[Diagnostic] = []
        self.items: dict[str, Item] = {}
        self.cables: dict[str, Cable] = {}
        self.names: dict[str, Span] = {}

    def run(self) -> tuple[Cell, tuple[Diagnostic, ...]]:
        for item in self.text.items:
            self._item(item)
        for cable in self.text.cables:
            self._cable(cable)
        places = Places(self.items, self.cables)
        places.failed = frozenset(self.names) - set(self.items) - set(self.cables)
        named = {str(line.channel): line.name.text for line in self.text.signals}
        builder = JoinBuilder(places, named)
        for line in self.text.joins:
            over = line.over
            builder.add(
                JoinWords(
                    str(line.a),
                    line.a.span,
                    str(over) if over is not None else "",
                    over.span if over is not None else line.span,
                    str(line.b),
                    line.b.span,
                    line.span,
                    self._link(line.length, "metres"),
                    self._link(line.area, "mm2"),
                )
            )
        builder.finish()
        actors = self._actors()
        meaning = Meaning(self.items, actors, places)
        signals = meaning.signals(self.text.signals)
        expects = meaning.expects(self.text.expects, builder.joins, signals)
        accepts = meaning.accepts(self.text.accepts)
        reader = LinkReader(self.items)
        links = reader.links(self.text.lives)
        name = self.text.name
        cell = Cell(
            name=name.text if name is not None else "unnamed cell",
            revision=self.text.revision.text if self.text.revision is not None else "",
            ambient_c=self.text.ambient_c or DEFAULT_AMBIENT_C,
            items=self.items,
            cables=self.cables,
            joins=tuple(builder.joins),
            signals=signals,
            expects=expects,
            accepts=accepts,
            actors=actors,
            house={k.text: w.text for k, w in self.text.house},
            files=self.text.files,
            span=name.span if name is not None else self.text.span,
            join_at=index_joins(builder.joins),
            folder=self.folder,
            links=links,
            doubtful=frozenset(builder.doubtful),
        )
        self.problems += [*reader.problems, *places.problems, *builder.problems, *meaning.problems]
        return cell, tuple(self.problems)

    def _link(self, word: Word | None, dimension: str) -> float:
        """Return the length or area a direct link states; 0 when it states none."""
        if word is None:
            return 0.0
        value = parse_quantity(word.text, dimension, word.span, minimum=0.0)
        if isinstance(value, Diagnostic):
            self.problems.append(value)
            return 0.0
        return value.high

    def _taken(self, name: Word, kind: str) -> bool:
        first = self.names.get(name.text)
        if first is None:
            self.names[name.text] = name.span
            return False
        self._error(
            "N308",
            f"the name {name.text} is used twice",
            name.span,
            f"give this {kind} a name of its own",
            (Related("first", name.text, first),),
        )
        return True

    def _part(self, word: Word, settings: Mapping[str, Node], *, cable: bool) -> Part | None:
        path = part_file(word.text, self.folder)
        if path is None:
            names = part_names(self.folder)
            near = did_you_mean(word.text, names)
            fix = (
                f"did you mean `{near}`?"
                if near
                else f"`ringout parts` lists what there is; your own go into parts/{word.text}.yaml"
            )
            self._error("N301", f"there is no part `{word.text}`", word.span, fix)
            return None
        part, problems = load_part(path, settings)
        self.problems += problems
        if part is None:
            return None
        is_cable = part.family in ("cable", "cordset")
        if is_cable != cable:
            here = "items" if cable else "cables"
            self._error(
                "N310", f"{word.text} is a {part.family}", word.span, f"list it under `{here}:`"
            )
            return None
        return part

    def _settings(self, pairs: tuple[tuple[Word, Node], ...]) -> dict[str, Node]:
        return {key.text: node for key, node in pairs}

    def _check_settings(self, pairs: tuple[tuple[Word, Node], ...], part: Part) -> None:
        for key, _ in pairs:
            if key.text not in part.settings and key.text not in _FREE_SETTINGS:
                near = did_you_mean(key.text, part.settings)
                every = ", ".join(part.settings) or "none"
                fix = f"did you mean `{near}`?" if near else f"settings of {part.name}: {every}"
                self._error("N309", f"{part.name} has no setting `{key.text}`", key.span, fix)

    def _item(self, line: ItemLine) -> None:
        if self._taken(line.name, "item"):
            return
        settings = self._settings(line.settings)
        part = self._part(line.part, settings, cable=False)
        if part is None:
            return
        self._check_settings(line.settings, part)
        self.items[line.name.text] = Item(
            name=line.name.text,
            part=part,
            note=line.note.text if line.note is not None else "",
            settings={k: _as_text(n) for k, n in settings.items()},
            setting_spans={k: n.span for k, n in settings.items()},
            span=line.name.span,
            part_span=line.part.span,
        )

    def _cable(self, line: CableLine) -> None:
        if self._taken(line.name, "cable"):
            return
        part = self._part(line.part, {}, cable=True)
        if part is None:
            return
        length = Interval.exact(0.0)
        span = line.name.span
        if line.length is None:
            self._error(
                "W104",
                f"cable {line.name.text} has no length",
                line.name.span,
                "add one, as in `length: 5 m`",
            )
            return
        value = parse_quantity(line.length.text, "metres", line.length.span, minimum=0.0)
        if isinstance(value, Diagnostic):
            self.problems.append(value)
            return
        length, span = value, line.length.span
        self.cables[line.name.text] = Cable(
            line.name.text, part, length, line.name.span, line.part.span, span
        )

    def _actors(self) -> dict[str, Actor]:
        actors: dict[str, Actor] = {}
        for item in self.items.values():
            part = item.part
            coils = {e.words.get("drives") for e in part.elements if e.kind == "coil"}
            outputs = {
                part.element_by_name[c.element].actor
                for c in part.channels.values()
                if c.kind == "output"
            }
            for key, positions in part.actors.items():
                if coils & set(positions):
                    by = "coil"
                elif part.family == "supply":
                    by = "supply"
                elif key in outputs:
                    by = "command"
                else:
                    by = "person"
                name = item.name if len(part.actors) == 1 else f"{item.name}.{key}"
                actors[name] = Actor(name, item.name, key, positions, by)
        return actors


def _as_text(node: Node) -> str:
    if isinstance(node, SequenceNode):
        return "[" + ", ".join(i.text for i in node.items if isinstance(i, Scalar)) + "]"
    return node.text if isinstance(node, Scalar) else ""
