"""Figures that people read: none that no meter shows."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from ringout.base.quantity import format_between, format_plain
from ringout.cli.main import cli
from ringout.report.sheet_layout import area_words, length_words

CORRECTED = str(
    Path(__file__).resolve().parents[3] / "examples" / "caddy-lidder" / "corrected.yaml"
)


@pytest.mark.parametrize(
    ("value", "text"), [(-0.001, "0.00 V"), (0.004, "0.00 V"), (-0.006, "-0.01 V"), (24, "24.00 V")]
)
def test_no_minus_before_nothing(value, text):
    assert format_plain(value, "V") == text


def test_a_range_of_one_value_is_one_value():
    assert format_between(11.0, 11.001, "A") == "11.00 A"
    assert format_between(6.81, 9.0, "A") == "6.81 to 9.00 A"
    assert format_between(-0.001, 0.002, "V") == "0.00 V"


def test_prove_shows_no_nanoamperes_and_no_minus_zero():
    said = CliRunner().invoke(cli, ["prove", "--quick", CORRECTED]).stdout
    table = said.split("branch ")[1].split("states solved")[0]
    assert "nA" not in table and "µA" not in table and "pA" not in table
    assert not re.search(r"-0\.00\b", said)


def test_the_meter_shows_no_microvolts():
    words = ["meter", CORRECTED, "--probe", "K1-X1:4", "K1-X1:3"]
    said = CliRunner().invoke(cli, words).stdout
    assert "µV" not in said and "nV" not in said
    assert "0 V" in said


def test_sizes_and_lengths_of_another_system_are_rounded():
    # 16 AWG is 1.3087 mm2 and 22 AWG 0.3255 mm2 (astm-b258, rounded); 30 ft are 9.144 m
    assert [area_words(a) for a in (1.3087, 0.325534, 1.0, 2.5, 0.34, 16.0)] == [
        "1.31", "0.326", "1.0", "2.5", "0.34", "16",
    ]  # fmt: skip
    assert [length_words(m) for m in (9.144, 5.0, 0.5, 123.456)] == [
        "9.14 m", "5 m", "0.5 m", "123.46 m",
    ]  # fmt: skip
