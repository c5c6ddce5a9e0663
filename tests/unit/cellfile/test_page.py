"""The page about the cell file: its examples are files, and its message is the one given."""

from __future__ import annotations

import re

import pytest

from ringout.base.show import render_diagnostic
from ringout.cellfile import parse_cell_text
from ringout.cellfile.cell_text import TOP_KEYS
from ringout.cellfile.sections import HOUSE_KEYS
from tests.contract.house import ROOT

PAGE = (ROOT / "docs" / "cell-file.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```yaml\n(.*?)```", PAGE, re.DOTALL)


@pytest.mark.parametrize("text", EXAMPLES)
def test_examples_are_read_without_a_word(text):
    cell, problems = parse_cell_text(text, "cell.yaml")
    assert not problems
    assert cell.items


def test_lines_in_tables_are_read():
    joins = re.findall(r"^\| `(- [^`]+)` \|", PAGE, re.MULTILINE)
    joins += re.findall(r"`(- \{from:[^`]+)`", PAGE)
    section = PAGE.split("## What must hold")[1].split("\n## ")[0]
    expects = [
        f"- {line}" for line in re.findall(r"^\| `([^`]+ is [^`]+)` \|", section, re.MULTILINE)
    ]
    accepts = re.findall(r"`(- F\d+ on [^`]+)`", PAGE)
    assert (len(joins), len(expects), len(accepts)) == (4, 4, 1)
    text = "cell: x\n"
    for name, lines in (("joins", joins), ("expect", expects), ("accept", accepts)):
        text += "\n  ".join([f"{name}:", *lines]) + "\n"
    cell, problems = parse_cell_text(text, "cell.yaml")
    assert not problems
    assert (len(cell.joins), len(cell.expects), len(cell.accepts)) == (4, 4, 1)


@pytest.mark.parametrize("key", [*TOP_KEYS, *HOUSE_KEYS])
def test_every_section_is_on_the_page(key):
    assert f"`{key}`" in PAGE


def test_the_message_shown_is_the_one_given():
    wanted = re.search(r"```\n(caddy\.yaml.*?)\n```", PAGE, re.DOTALL)[1]
    text = "cell: x\nitems:\n  S1: a\n\n  K1: {part: io-panel-16x16\n"
    _, problems = parse_cell_text(text, "caddy.yaml")
    assert render_diagnostic(problems[0], text.split("\n")) == wanted
