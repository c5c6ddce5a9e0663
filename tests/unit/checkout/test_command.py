"""`ringout checkout` as people and programs use it, on a cell with one button."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from ringout import run
from ringout.checkout import Checkout, Unexposed
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import single_faults
from ringout.cli.main import cli
from ringout.findings.model import NotRun
from ringout.report.checkout_view import file_mark, stages_of
from tests.physics.test_checkout_proof import DEMO, ONE_BUTTON

STEP_KEYS = {"phase", "do", "expect", "exposes"}
TOP_KEYS = {"steps", "coverage", "optimal", "harm_before_power"}
COVERAGE_KEYS = {"exposable", "exposed", "not_exposable"}


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    file = tmp_path_factory.mktemp("cell") / "one.yaml"
    file.write_text(ONE_BUTTON, encoding="utf-8")
    return str(file)


def ask(*words):
    return CliRunner().invoke(cli, ["checkout", *words])


def test_the_json_has_its_keys(path):
    done = ask(path, "--json")
    assert done.exit_code == 0, done.output
    answer = json.loads(done.stdout)
    assert set(answer) >= TOP_KEYS
    assert set(answer["coverage"]) >= COVERAGE_KEYS
    assert answer["steps"]
    assert all(set(s) >= STEP_KEYS for s in answer["steps"])
    told = [f for s in answer["steps"] for f in s["exposes"]]
    assert len(told) == len(set(told)) == answer["coverage"]["exposed"]
    hidden = answer["coverage"]["not_exposable"]
    assert len(told) + len(hidden) == answer["coverage"]["faults"]
    assert answer["optimal"] is True
    assert answer["file_hash"] in run.load(path).cell.files[0][1]


def test_steps_are_numbered_through_and_say_where_the_probes_go(path):
    done = ask(path)
    assert done.exit_code == 0, done.output
    numbers = [int(n) for n in re.findall(r"^ {1,3}(\d+)  \S", done.output, re.MULTILINE)]
    assert numbers == list(range(1, len(numbers) + 1))
    for word in ("DEAD", "POWER IN STAGES", "lock off", "prove it dead", "licensed people"):
        assert word in done.output
    assert done.output.index("DEAD") < done.output.index("POWER IN STAGES")
    assert done.output.count("expect: ") == done.output.count("else: ") == len(numbers)
    assert max(map(len, done.output.splitlines())) <= 100


def test_a_phase_alone_keeps_its_numbers(path):
    whole = json.loads(ask(path, "--json").stdout)["steps"]
    powered = json.loads(ask(path, "--json", "--phase", "power").stdout)["steps"]
    assert powered == [s for s in whole if s["phase"] == "power"]
    assert powered[0]["number"] > 1


def test_no_such_file_and_no_such_phase():
    assert ask("there-is-no-such-cell.yaml").exit_code == 2
    assert ask(DEMO, "--phase", "later").exit_code == 2


@pytest.mark.parametrize(
    ("by_eye", "lost", "code"),
    [("", False, 1), ("look at it", False, 0), ("look at it", True, 3), ("", True, 3)],
)
def test_exit_codes(path, monkeypatch, by_eye, lost, code):
    fault = single_faults(compile_circuit(run.load(path).cell))[0]
    harm = Unexposed(fault, "It burns.", 0, by_eye)
    not_run = (NotRun("solution", "1 state could not be solved"),) if lost else ()
    made = Checkout((), 1, 0, (harm,), (harm,), True, 0.0, 0.0, 1, not_run)
    monkeypatch.setattr(run, "checkout", lambda *_, **__: made)
    done = ask(path)
    assert done.exit_code == code, done.output
    assert ("NOTHING SHOWS IT BEFORE" in done.output) is not bool(by_eye)
    assert "It burns." in done.output


def test_a_procedure_that_is_not_proven_says_by_how_much(path, monkeypatch):
    made = Checkout((), 1, 0, (), (), False, 600.0, 1200.0, 1)
    monkeypatch.setattr(run, "checkout", lambda *_, **__: made)
    assert "a shorter one may exist, by 10 minutes at most" in ask(path).output


def test_stages_are_supplies_then_the_branches_in_use():
    cell = run.load(DEMO).cell
    # read off the cell file: one supply, four branches of which three lead anywhere
    assert stages_of(cell) == ["T1", "F1:out1", "F1:out2", "F1:out3"]
    assert len(file_mark(cell)) == 8
