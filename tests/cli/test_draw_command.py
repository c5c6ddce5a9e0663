"""`ringout draw` at the command line: one cable, one map, all of a kind, and names nobody knows."""

from __future__ import annotations

import json

from click.testing import CliRunner

from ringout.cli import cli
from tests.contract.house import ROOT

CELL = str(ROOT / "examples" / "caddy-lidder" / "corrected.yaml")


def draw(*words):
    return CliRunner().invoke(cli, ["draw", CELL, *words])


def test_one_cable_goes_to_the_screen_as_svg():
    done = draw("--cable", "W13")
    assert done.exit_code == 0
    assert done.stdout.startswith("<svg") and "W13:BN brown" in done.stdout


def test_one_map_and_one_cable_are_written_beside_each_other(tmp_path):
    done = draw("--cable", "W14", "--map", "Y1", "-o", str(tmp_path))
    assert done.exit_code == 0
    assert {f.name for f in tmp_path.iterdir()} == {"W14.svg", "map-Y1.svg"}


def test_all_cables_and_all_maps(tmp_path):
    done = draw("--what", "cables", "--json", "-o", str(tmp_path / "c"))
    names = [d["name"] for d in json.loads(done.stdout)["drawings"]]
    assert done.exit_code == 0
    assert {"W1", "W14", "W33"} <= set(names)
    assert len(names) == len(list((tmp_path / "c").iterdir()))
    done = draw("--what", "maps", "--json")
    assert [d["name"] for d in json.loads(done.stdout)["drawings"]] == ["map-R1", "map-Y1"]


def test_names_nobody_knows_are_told_with_a_hint():
    for words, told in (
        (("--cable", "W113"), "there is no cable W113: did you mean `W13`?"),
        (("--map", "Y9"), "there is no item Y9"),
    ):
        done = draw(*words)
        assert done.exit_code == 2
        assert told in done.stderr and "Traceback" not in done.stderr
