"""Supply tree, overview and the command: nothing missing, figures as judged, mistakes told."""

from __future__ import annotations

import json
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner

from ringout.circuit.compile import compile_circuit
from ringout.cli.draw import draw
from ringout.findings.judge import judge
from ringout.report.drawing import draw_overview, draw_supply
from ringout.report.drawing.files import write_sheets
from ringout.report.drawing.supply_build import build_supply_view
from tests.bench.cells import generated_cell
from tests.contract.house import ROOT
from tests.unit.report.test_drawing_overlap import FIELD, ONE_BUTTON, cell_from, cell_of

DEMO = ROOT / "examples" / "caddy-lidder"
CELL = "examples/caddy-lidder/corrected.yaml"


@pytest.fixture(scope="module")
def demo():
    return cell_of(DEMO / "corrected.yaml")


def words(sheets) -> set[str]:
    return {t.text for s in sheets for t in s.texts}


# -- supply --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["corrected", "first-drawing"])
def test_branches_carry_what_the_judgement_says(name):
    cell = cell_of(DEMO / f"{name}.yaml")
    judged = {b.name: b for b in judge(cell).branches}
    rows = build_supply_view(cell).rows
    told = {r.load.name: r.load for r in rows if r.load is not None}
    assert {"T1.output", "F1.branch1", "F1.branch2"} <= told.keys()
    for branch, load in told.items():
        assert load.high_a == pytest.approx(judged[branch].high_a, rel=1e-6)
        assert load.limit_a == judged[branch].limit_a
    given = build_supply_view(cell, tuple(judged.values()))
    assert [r.name for r in given.rows] == [r.name for r in rows]


def test_who_feeds_what_in_the_demo_cell(demo):
    rows = {r.name: r for r in build_supply_view(demo).rows}
    order = list(rows)
    # read off the joins of the file
    assert rows["K1-XS:1"].over == "W31:BN"
    assert order.index("K1-XS:1") == order.index("F1.branch1") + 1
    assert set(rows["K1-XS:3"].feeds) == {"Q1", "Q2", "K5", "P1"}
    assert {"S1", "B1", "B7"} <= set(rows["K1-XS:1"].feeds)
    assert {"B3", "B6"} <= set(rows["K2-XS:1"].feeds)
    assert rows["K2-XS:1"].depth == rows["F1.branch3"].depth + 1


def test_a_feed_is_not_told_the_figures_of_another(demo):
    rows = {r.name: r for r in build_supply_view(demo).rows}
    # the panel's electronics hang on XS:1; XS:3 feeds outputs only
    assert rows["K1-XS:1"].lowest_v is not None
    assert rows["K1-XS:3"].lowest_v is None
    assert rows["K1-XS:3"].short.item == "K1"  # a short at this feed, not at a sensor of the other


def test_the_branch_that_opens_late_is_told(demo):
    del demo
    rows = {r.name: r for r in build_supply_view(cell_of(DEMO / "first-drawing.yaml")).rows}
    # 60 m of 0.5 mm2 behind a branch of 4 A: the mistake the demo cell was given
    short = rows["K2-XS:1"].short
    assert short.verdict != "at once"
    assert short.low_a < 6.0


def test_every_fed_item_is_in_the_tree_or_told_to_be_without():
    for path in FIELD:
        cell = cell_of(path)
        view = build_supply_view(cell)
        told = {r.name.partition("-")[0].partition(":")[0].partition(".")[0] for r in view.rows}
        told |= {n for r in view.rows for n in r.feeds} | set(view.unfed)
        for item in cell.items.values():
            if item.part.alive is not None and item.part.family != "supply":
                assert item.name in told, f"{path.parent.name}: {item.name}"


def test_every_branch_and_every_feed_has_its_short_current(demo):
    rows = build_supply_view(demo).rows
    told = {r.name: r.short for r in rows if r.kind != "supply"}
    assert all(short is not None for short in told.values()), told
    # demo cell: 5.5 A constant current behind it; the outputs are fed at K1-XS:3
    assert {"F1.branch1", "F1.branch2", "F1.branch3", "K1-XS:3"} <= set(told)
    for short in told.values():
        assert 0 < short.low_a <= short.high_a <= 5.5 + 1e-6
    first = {r.name: r.short for r in build_supply_view(cell_of(DEMO / "first-drawing.yaml")).rows}
    # the 4 A branch itself gets all the supply gives (demo cell: 5.5 A), the far end of 60 m of
    # 0.5 mm2 less: 24 V over 2 * 60 m * 39 mohm/m (iec-60228) = 4.7 ohm is 5.1 A at 20 °C
    assert first["F1.branch4"].high_a == pytest.approx(5.5, abs=0.05)
    assert 4.0 < first["K2-XS:1"].low_a < first["K2-XS:1"].high_a < 5.5


def test_a_supply_that_feeds_nobody_is_still_drawn(tmp_path):
    text = ONE_BUTTON.replace("  - T1:+ S1:13\n", "")
    cell = cell_from(text, tmp_path)
    assert "T1" in words(draw_supply(cell))


# -- overview ------------------------------------------------------------------------------


def everything(cell) -> tuple[set[str], set[str]]:
    joined = {t.item for j in cell.joins for t in (j.a, j.b) if j.a.item != j.b.item}
    return joined, {j.cable for j in cell.joins if j.cable}


@pytest.mark.parametrize("path", [DEMO / "corrected.yaml", *FIELD], ids=lambda p: p.parent.name)
def test_every_item_and_cable_is_on_the_overview(path):
    cell = cell_of(path)
    items, cables = everything(cell)
    written = words(draw_overview(cell))
    assert items <= written
    assert cables <= written


def test_96_channels_are_all_on_the_overview(tmp_path):
    cell = cell_from(generated_cell(96), tmp_path)
    items, cables = everything(cell)
    sheets = draw_overview(cell)
    assert items | cables <= words(sheets)
    assert len(sheets) > 1
    assert len({s.name for s in sheets}) == len(sheets)


# -- files and command ---------------------------------------------------------------------


def test_files_have_names_any_system_takes(demo, tmp_path):
    sheets = draw_overview(demo)
    files = write_sheets(sheets, tmp_path / "out")
    assert [f.name for f in files] == [f"{s.name}.svg" for s in sheets]
    beside = write_sheets(sheets[:2], tmp_path / "one.svg")
    assert [f.name for f in beside] == ["one.svg", "one-2.svg"]
    assert not list(tmp_path.rglob("*.part"))


def run_draw(*args: str):
    return CliRunner().invoke(draw, [CELL, *args])


def test_one_drawing_goes_to_the_screen():
    done = run_draw("start_lidding", "--while", "S1 pressed")
    assert done.exit_code == 0, done.output
    svg = ET.fromstring(done.stdout)
    assert svg.attrib["width"].endswith("mm")
    assert "W1:BK" in done.stdout


def test_all_signals_to_a_folder(tmp_path, demo):
    done = run_draw("-o", str(tmp_path))
    assert done.exit_code == 0, done.output
    assert {f.stem for f in tmp_path.glob("*.svg")} >= set(demo.signals)


def test_json_tells_sizes_and_where(tmp_path):
    done = run_draw("--what", "supply", "--json", "-o", str(tmp_path / "s.svg"))
    answer = json.loads(done.stdout)
    (row,) = answer["drawings"]
    assert set(row) == {"name", "title", "width_mm", "height_mm", "file"}
    assert row["file"].endswith("s.svg")


@pytest.mark.parametrize(
    ("args", "hint"),
    [
        (("start_liding",), "start_lidding"),
        (("start_lidding", "--while", "S1 pressd"), "pressed"),
        (("start_lidding", "--fault", "open W1:BK@S"), "open W1:BK@S1"),
        ((), "folder"),
    ],
)
def test_mistakes_are_told(args, hint):
    done = run_draw(*args)
    assert done.exit_code == 2
    assert hint in done.output + done.stderr


def test_a_fault_is_on_the_drawing():
    done = run_draw("start_lidding", "--fault", "Open w1:BK@S1")
    assert done.exit_code == 0, done.output
    assert "fault: W1:BK open" in done.stdout


def test_a_compiled_circuit_may_be_passed_on(demo):
    circuit = compile_circuit(demo)
    assert draw_supply(demo, circuit=circuit)[0].svg == draw_supply(demo)[0].svg
