"""Options and environment of OPC UA: refused in plain words, secrets never repeated."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from ringout.cli.main import cli

CELL = "examples/caddy-lidder/corrected.yaml"
URL = "opc.tcp://127.0.0.1:1"
WORD = "Tulip-7-open"  # made up for these tests


def call(*words: str, **env: str):
    done = CliRunner().invoke(cli, list(words), env=env)
    assert done.exception is None or isinstance(done.exception, SystemExit)
    assert "Traceback" not in done.output
    return done


def test_a_pair_is_made_and_never_written_over(tmp_path):
    file = tmp_path / "bench.pem"
    done = call("certificate", str(file), "--json")
    told = json.loads(done.stdout)
    assert done.exit_code == 0
    assert told["certificate"] == str(file)
    assert len(told["sha256"].split(":")) == 32
    assert "PRIVATE KEY" in (tmp_path / "bench-key.pem").read_text()
    again = call("certificate", str(file))
    assert again.exit_code == 2
    assert "never written over" in again.stderr


def test_a_locked_key_needs_its_passphrase_from_the_environment(tmp_path):
    file, key = tmp_path / "bench.pem", tmp_path / "bench-key.pem"
    asked = call("certificate", str(file), "--lock")
    assert asked.exit_code == 2
    assert "RINGOUT_KEY_PASSWORD" in asked.stderr
    done = call("certificate", str(file), "--lock", RINGOUT_KEY_PASSWORD=WORD)
    assert done.exit_code == 0
    assert "ENCRYPTED" in key.read_text()
    assert WORD not in done.output + key.read_text()
    words = ("watch", CELL, "--opcua", URL, "--certificate", str(file), "--key", str(key))
    assert "RINGOUT_KEY_PASSWORD_K1" in call(*words).stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["watch", CELL, "--opcua", URL, "--user", "setter"], "RINGOUT_PASSWORD_K1"),
        (["watch", CELL, "--opcua", URL, "--security", "encrypt"], "cannot be reached"),
        (["watch", CELL, "--opcua", "127.0.0.1:4840"], "is no address"),
        (["watch", CELL, "--opcua", URL, "--modbus", "a:1"], "two ways"),
        (["watch", CELL, "--modbus", "127.0.0.1:1", "--cycle", "0"], "cannot be"),
        (["twin", CELL, "--modbus", "127.0.0.1:1", "--user", "setter"], "protects nothing"),
        (["twin", CELL, "--opcua", URL, "--security", "sign"], "own --certificate"),
        (["twin", CELL, "--opcua", URL, "--certificate", "gone.pem", "--key", "k"], "be read"),
        (["certificate", "--of", URL, "x.pem"], "nothing answers"),
        (["certificate", "no/such/folder/x.pem"], "cannot be written"),
    ],
)
def test_what_cannot_be_used_is_told(words, said):
    done = call(*words)
    assert done.exit_code == 2
    assert said in done.stderr
    assert "fix:" in done.stderr


def test_a_password_from_the_environment_is_never_repeated():
    words = ("watch", CELL, "--opcua", URL, "--user", "setter", "--security", "encrypt")
    done = call(*words, RINGOUT_PASSWORD_K1=WORD)
    assert done.exit_code == 2
    assert WORD not in done.output + done.stderr
