"""The shape for editors accepts what the reader accepts, and refuses what it refuses."""

from __future__ import annotations

import json
import re

import pytest
from pydantic import ValidationError

from ringout.cellfile import read_tree
from ringout.cellfile.cell_text import SHARED_KEYS, TOP_KEYS
from ringout.cellfile.schema import CellFile, IncludedFile, json_schema
from ringout.cellfile.sections import HOUSE_KEYS
from ringout.cellfile.tree import as_plain
from tests.contract.house import ROOT
from tests.unit.cellfile.test_statements import GOOD

BAD = ROOT / "tests" / "cells" / "bad" / "cellfile"
FILES = sorted(ROOT.glob("examples/**/*.yaml")) + sorted((ROOT / "tests/cells/good").glob("*.yaml"))


def plain(path):
    root, problems = read_tree(path)
    assert not problems, problems
    return as_plain(root)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_examples_conform(path):
    data = plain(path)
    if "cell" in data or "items" in data:
        (CellFile if "cell" in data else IncludedFile).model_validate(data)


def test_the_full_example_conforms(tmp_path):
    path = tmp_path / "cell.yaml"
    path.write_text(GOOD, encoding="utf-8")
    CellFile.model_validate(plain(path))


@pytest.mark.parametrize(
    "name",
    [
        "unknown-section",
        "no-cell-name",
        "items-as-list",
        "joins-as-names",
        "name-with-digit-first",
        "item-with-note-only",
        "signal-without-channel",
        "join-unknown-field",
        "join-one-word",
        "join-five-words",
        "join-bad-terminal",
        "join-without-end",
        "channel-as-terminal",
        "accept-without-reason",
        "house-unknown-rule",
        "house-unknown-market",
    ],
)
def test_bad_shapes_do_not_conform(name):
    with pytest.raises(ValidationError):
        CellFile.model_validate(plain(BAD / f"{name}.yaml"))


def test_schema_names_every_section_and_explains_every_field():
    schema = json_schema()
    json.dumps(schema)
    assert set(schema["properties"]) == set(TOP_KEYS)
    assert set(IncludedFile.model_fields) == set(SHARED_KEYS)
    assert set(schema["$defs"]["HouseFields"]["properties"]) == set(HOUSE_KEYS)
    assert schema["required"] == ["cell"]
    for shape in (schema, *schema["$defs"].values()):
        for name, field in shape["properties"].items():
            assert field.get("description"), name
            assert field.get("title"), name


def test_patterns_judge_joins():
    pattern = json_schema()["properties"]["joins"]["anyOf"][0]["items"]["anyOf"][0]["pattern"]
    for good in ("S1:13  W1:BN  K1-X1:1", "T1:+ W30:BN F1:in+", "B1 W2 K1-X2", "Y1-A K1-X2"):
        assert re.search(pattern, good)
    for bad in ("S1:13", "S1:13 W1:BN K1-X1:1 remark", "S1::13 W1:BN K1-X1:1", "1S:13 K1:1"):
        assert not re.search(pattern, bad)
