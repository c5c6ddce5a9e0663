"""What `ringout prove` says to whoever sees only its first or its last line."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ringout import run
from ringout.base.counted import counted
from ringout.cli.common import progress_bar
from ringout.cli.main import cli

EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "caddy-lidder"
CORRECTED = EXAMPLES / "corrected.yaml"


def prove(path: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["prove", str(path), *words])


def changed(folder: Path, *pairs: tuple[str, str]) -> Path:
    text = CORRECTED.read_text("utf-8")
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / "cell.yaml"
    path.write_text(text, "utf-8")
    return path


ONE_CASE = ("channel: K1.I1, on: S1 pressed", "channel: K1.I1, on: S1 presed")
TWO_CORES = ("- S3:22    W3:WH   K1-X8:2", "- S3:22    W3:WH   K1-X8:4")


@pytest.mark.parametrize(("pairs", "count"), [((ONE_CASE,), 1), ((ONE_CASE, TWO_CORES), 2)])
def test_the_last_line_counts_lines_that_were_not_used(tmp_path, pairs, count):
    path = changed(tmp_path, *pairs)
    done = prove(path, "--quick")
    assert done.exit_code == 2
    last = done.stdout.rstrip().splitlines()[-1]
    words = "1 line is not used as it stands" if count == 1 else f"{count} lines are not used"
    assert words in last
    assert "incomplete" in last
    assert json.loads(prove(path, "--quick", "--json").stdout)["unused_lines"] == count


def test_problems_of_the_file_stand_first_in_the_answer(tmp_path):
    done = prove(changed(tmp_path, ONE_CASE), "--quick")
    assert "error[N307]" in done.stdout.splitlines()[0]
    assert "N307" not in done.stderr


def test_a_file_used_whole_is_not_called_incomplete():
    last = prove(CORRECTED, "--quick").stdout.rstrip().splitlines()[-1]
    assert "not used" not in last
    assert "incomplete" not in last


def test_one_is_told_in_the_singular():
    assert counted(1, "error") == "1 error"
    assert counted(0, "error") == "0 errors"
    assert counted(2, "check did", "checks did") == "2 checks did"


def test_progress_moves_before_anything_is_found_and_while_cures_are_sought(tmp_path):
    seen: list[tuple[int, int]] = []
    path = EXAMPLES / "first-drawing.yaml"
    _, judgement = run.prove(str(path), progress=lambda done, total: seen.append((done, total)))
    total = len(judgement.findings)
    assert seen[0] == (0, 1)
    assert seen[-1] == (total, total)
    done = [d for d, t in seen[1:]]
    assert done == sorted(done)
    assert len(done) > total + 5  # also at each change that is tried


def test_the_bar_goes_to_a_terminal_only(monkeypatch):
    assert progress_bar("proving") is None  # the tests' error stream is none
    monkeypatch.setattr("sys.stderr", Terminal())
    show = progress_bar("proving")
    for step in ((0, 1), (0, 4), (1, 4), (4, 4)):
        show(*step)
    written = sys.stderr.getvalue()
    assert written.count("\r") == 4
    assert written.endswith("4/4  \n")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True
