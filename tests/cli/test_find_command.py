"""`ringout find` as a person uses it: sentences, a file, a conversation, mistakes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from ringout.cli.main import cli

CELL = "examples/caddy-lidder/corrected.yaml"
SEEN = "start_lidding off while S1 pressed"
KEYS = {"fault", "probability", "why"}


def run_find(*words: str, typed: str | None = None):
    return CliRunner().invoke(cli, ["find", CELL, *words], input=typed)


def test_a_symptom_gives_culprits_and_the_next_look():
    done = run_find("--seen", SEEN, "--json")
    assert done.exit_code == 0, done.output
    answer = json.loads(done.stdout)
    assert answer["culprits"]
    assert set(answer["culprits"][0]) >= KEYS
    assert set(answer["next"]) >= {"do", "expect"}
    assert answer["contradictions"] == []
    shares = [c["probability"] for c in answer["culprits"]]
    assert shares == sorted(shares, reverse=True)


def test_three_readings_name_an_open_core():
    # Ohm and Kirchhoff: 24 V leaves the button, none arrives, so the core between is open
    readings = (
        SEEN,
        "S1:14 to S1:X2 = 24 V while S1 pressed",
        "K1-X1:4 to K1-X1:3 = 0.0 V while S1 pressed",
    )
    done = run_find(*(w for r in readings for w in ("--seen", r)), "--json")
    first = json.loads(done.stdout)["culprits"][0]
    assert {first["fault"], *first["alike"]} == {"open W1:BK@S1", "open W1:BK@K1"}


@pytest.mark.parametrize(
    "nonsense",
    ["K9-X1:4 to K1-X1:3 = 4 V", "K1-X1:4 to K1-X1:3 = 4 kg", "the thing is broken", ""],
)
def test_nonsense_gets_a_plain_error(nonsense):
    done = run_find("--seen", nonsense)
    assert done.exit_code == 2
    assert "Traceback" not in done.output
    assert done.stderr.strip()


def test_what_a_healthy_cell_shows_is_said_so():
    done = run_find("--seen", "start_lidding on while S1 pressed")
    assert done.exit_code == 0
    assert "healthy" in done.output


def test_contradictions_come_first():
    done = run_find(
        "--seen", "K1-X1:4 to K1-X1:3 = 24 V while S1 pressed",
        "--seen", "K1-X1:4 to K1-X1:3 = 0.0 V while S1 pressed", "--json",
    )  # fmt: skip
    answer = json.loads(done.stdout)
    assert answer["contradictions"]


def test_observations_from_a_file(tmp_path: Path):
    notes = tmp_path / "night.txt"
    notes.write_text(f"# what the shift saw\n{SEEN}\n\nK1-X1:4 to K1-X1:3 = 0 V while S1 pressed\n")
    done = run_find("--file", str(notes))
    assert done.exit_code == 0, done.output
    assert "CULPRITS" in done.output
    assert run_find("--file", str(tmp_path / "none.txt")).exit_code == 2


def test_a_script_without_observations_is_told_what_to_add():
    done = run_find(typed="")
    assert done.exit_code == 2
    assert "--seen" in done.stderr
