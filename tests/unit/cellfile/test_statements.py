"""A good file, word by word, and files that include others."""

from __future__ import annotations

import hashlib

import pytest

from ringout.cellfile import as_text, parse_cell_text, read_cell_text

GOOD = """\
cell: Tea-caddy lidding cell
revision: A
ambient: 10..45 °C
note: as drawn
house: {market: iec}
items:
  G1: supply-24v-5a
  F1: {part: breaker-4ch, set: [2 A, 1 A], note: four branches}
cables:
  W1: {part: cable-4x0.34, length: 6 m, place: cabinet}
joins:
  - S1:13  W1:BN  K1-X1:1   # a remark
  - S1:13  S1:X1
  - B1     W2     K1-X2
  - {from: F1:1, to: K1-XS:1, length: 0.3 m, area: 1.5 mm2, note: link}
signals:
  start: {channel: K1.I1, on: S1 pressed, filter: 3 ms, note: start lidding}
  clamp: {channel: K1.O1, drives: Q1}
expect:
  - signal start is on while S1 pressed
accept:
  - F214 on S2 because the contact is cleaned every year
"""


@pytest.fixture
def cell():
    found, problems = parse_cell_text(GOOD, "cell.yaml")
    assert not problems
    return found


def test_head(cell):
    assert (str(cell.name), str(cell.revision)) == ("Tea-caddy lidding cell", "A")
    assert (cell.ambient_c.low, cell.ambient_c.high) == (10, 45)
    assert str(cell.note) == "as drawn"
    assert [(str(k), str(v)) for k, v in cell.house] == [("market", "iec")]
    assert cell.files == (("cell.yaml", hashlib.sha256(GOOD.encode()).hexdigest()),)


def test_items_and_cables(cell):
    plain, fields = cell.items
    assert (str(plain.name), str(plain.part), plain.settings) == ("G1", "supply-24v-5a", ())
    assert str(fields.note) == "four branches"
    ((key, value),) = fields.settings
    assert str(key) == "set"
    assert [as_text(v) for v in value.items] == ["2 A", "1 A"]
    assert (value.items[1].span.line, value.items[1].span.column) == (8, 38)
    (cable,) = cell.cables
    assert (str(cable.part), str(cable.length)) == ("cable-4x0.34", "6 m")
    assert [str(key) for key, _ in cable.settings] == ["place"]


def test_joins(cell):
    over, link, plug, long = cell.joins
    assert [str(p) for p in (over.a, over.over, over.b)] == ["S1:13", "W1:BN", "K1-X1:1"]
    assert [str(w) for w in (over.b.item, over.b.socket, over.b.pin)] == ["K1", "X1", "1"]
    assert (over.b.span.line, over.b.span.column, over.b.span.end_column) == (12, 19, 26)
    assert over.b.pin.span.column == 25
    assert over.text == "S1:13 W1:BN K1-X1:1"
    assert link.over is None
    assert (plug.a.pin, plug.over.pin, str(plug.b)) == (None, None, "K1-X2")
    assert (str(long.length), str(long.area), str(long.note)) == ("0.3 m", "1.5 mm2", "link")
    assert long.a.pin.span.column == 15


def test_signals(cell):
    start, clamp = cell.signals
    assert (str(start.channel.item), str(start.channel.name)) == ("K1", "I1")
    assert start.channel.name.span.column == 23
    assert (str(start.on), str(start.on_text)) == ("S1 pressed", "S1 pressed")
    assert [str(key) for key, _ in start.settings] == ["filter"]
    assert (clamp.on, str(clamp.drives)) == (None, "Q1")


def test_expect_and_accept(cell):
    assert cell.expects[0].kind == "signal"
    accept = cell.accepts[0]
    assert [str(w) for w in (accept.code, accept.place)] == ["F214", "S2"]
    assert str(accept.reason) == "the contact is cleaned every year"
    assert accept.reason.span.column == 24


def test_problems_come_in_the_order_of_the_file():
    text = (
        GOOD.replace("ambient: 10..45 °C", "ambient: 10")
        .replace("K1.O1", "K1")
        .replace("W1: {part: cable-4x0.34,", "W1: {part: [x],")
        .replace("G1: supply", "1G: supply")
    )
    _, problems = parse_cell_text(text, "cell.yaml")
    assert [p.span.line for p in problems] == [3, 7, 10, 18]


@pytest.fixture
def folder(tmp_path):
    def write(**files):
        for name, text in files.items():
            path = tmp_path / (name.replace("__", "/") + ".yaml")
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
        return read_cell_text(tmp_path / "cell.yaml")

    return write


def test_included_files_keep_their_names(folder, tmp_path):
    cell, problems = folder(
        cell="cell: x\ninclude: [more/a.yaml, b.yaml]\nitems: {S1: p}\n",
        more__a="items: {S2: p}\ninclude: c.yaml\nnote: a half\n",
        more__c="joins:\n  - S1:1 S2:1\nexpect:\n  - signal a is on\n",
        b="signals:\n  a: {channel: K1.I1}\ncables:\n  W1: p\n",
    )
    assert not problems
    assert [str(item.name) for item in cell.items] == ["S1", "S2"]
    assert cell.items[1].span.file == str(tmp_path / "more" / "a.yaml")
    assert (len(cell.joins), len(cell.signals), len(cell.cables), len(cell.expects)) == (1, 1, 1, 1)
    names = [file.removeprefix(str(tmp_path)).strip("/\\") for file, _ in cell.files]
    assert [name.replace("\\", "/") for name in names] == [
        "cell.yaml",
        "more/a.yaml",
        "more/c.yaml",
        "b.yaml",
    ]


def test_a_circle_names_its_way(folder):
    cell, problems = folder(
        cell="cell: x\ninclude: a.yaml\nitems: {S1: p}\n",
        a="include: b.yaml\nitems: {S2: p}\n",
        b="include: a.yaml\nitems: {S3: p}\n",
    )
    assert [p.code for p in problems] == ["N041"]
    assert problems[0].span.file.endswith("b.yaml")
    way = [problems[0].message.index(name) for name in ("cell.yaml", "a.yaml", "b.yaml")]
    assert way == sorted(way)
    assert [str(item.name) for item in cell.items] == ["S1", "S2", "S3"]


def test_what_belongs_to_the_cell_file_only(folder):
    _, problems = folder(
        cell="cell: x\ninclude: a.yaml\n", a="revision: B\nitmes: {S1: p}\nhouse: {market: us}\n"
    )
    assert [(p.code, p.span.line) for p in problems] == [("N042", 1), ("N010", 2), ("N042", 3)]
    assert "items" in problems[1].fix


def test_a_name_in_two_files(folder):
    cell, problems = folder(
        cell="cell: x\ninclude: a.yaml\nitems: {S1: p}\n", a="items: {S1: q, S2: q}\n"
    )
    assert [p.code for p in problems] == ["N043"]
    assert problems[0].related[0].span.file.endswith("cell.yaml")
    assert [str(item.part) for item in cell.items] == ["p", "q"]


def test_a_broken_included_file_costs_itself_only(folder):
    cell, problems = folder(
        cell="cell: x\ninclude: [a.yaml, b.yaml]\nitems: {S1: p}\n",
        a="- x\n",
        b="items:\n  S2: [\n",
    )
    assert [p.code for p in problems] == ["T027", "T012"]
    assert problems[0].span.file.endswith("a.yaml")
    assert [str(item.name) for item in cell.items] == ["S1"]


@pytest.mark.parametrize("name", ["../a.yaml", "/etc/a.yaml", "more/../../a.yaml", "..\\\\a.yaml"])
def test_nothing_outside_the_folder(folder, name):
    _, problems = folder(cell=f'cell: x\ninclude: "{name}"\n')
    assert [p.code for p in problems] == ["N040"]


def test_no_link_leads_outside(tmp_path):
    outside = tmp_path / "secret.yaml"
    outside.write_text("items: {S1: p}\n")
    inside = tmp_path / "cell"
    inside.mkdir()
    try:
        (inside / "a.yaml").symlink_to(outside)
    except OSError:  # some systems let only administrators make links
        return
    (inside / "cell.yaml").write_text("cell: x\ninclude: a.yaml\n")
    cell, problems = read_cell_text(inside / "cell.yaml")
    assert [p.code for p in problems] == ["N040"]
    assert not cell.items


def test_too_many_files(folder, tmp_path):
    for number in range(60):
        (tmp_path / f"f{number}.yaml").write_text(f"items: {{S{number}: p}}\n")
    names = ", ".join(f"f{number}.yaml" for number in range(60))
    cell, problems = folder(cell=f"cell: x\ninclude: [{names}]\n")
    assert {p.code for p in problems} == {"N045"}
    assert len(cell.files) == 50
