"""`ringout find` as a person uses it: sentences, a file, a conversation, mistakes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from ringout import run
from ringout.cli.find import converse
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


LIT = ("--seen", SEEN, "--seen", "lamp of S1 lit")


def places(*words: str) -> dict[str, int]:
    """Return every culprit with its place in the list, 0 for the first."""
    done = run_find(*LIT, *words, "--json")
    assert done.exit_code == 0, done.output
    return {c["fault"]: n for n, c in enumerate(json.loads(done.stdout)["culprits"])}


@pytest.mark.parametrize("said", ["it worked before", "Nothing was changed."])
def test_in_a_machine_that_ran_nothing_exchanges_cores(said):
    new = places()
    assert min(new, key=new.get).startswith("swap")  # a new cell: hands exchange cores
    ran = places("--seen", said)
    first = min(ran, key=ran.get)
    assert first.startswith("open W1:BK")
    swaps = [n for name, n in ran.items() if name.startswith(("swap", "off-pin", "wrong"))]
    opens = [n for name, n in ran.items() if name.startswith(("open", "never", "joint"))]
    assert not swaps or min(swaps) > max(opens[:3])


def test_the_conversation_asks_first_whether_it_worked_before():
    loaded = run.load(CELL)
    assert loaded.cell is not None
    finder = run.finder(loaded.cell)
    told = {}
    for answer in ("y", "n"):
        with CliRunner().isolation(input=f"{answer}\n{SEEN}\nlamp of S1 lit\n\n") as (out, *_):
            converse(finder, loaded.cell)
            told[answer] = out.getvalue().decode()
    assert "work before" in told["y"]
    last = {k: v.split("CULPRITS")[-1].split()[1] for k, v in told.items()}
    assert last == {"y": "open", "n": "swap"}
