"""How the cell stands, where a word could mean a position or a strain."""

from __future__ import annotations

from ringout.find.words import understand
from tests.cells.field.case import Case


def test_a_position_is_not_a_strain():
    cell = Case("c22_drop_when_motor_runs").cell()
    observation, problems = understand(cell, "A1:+ to A1:- is 22..23 V while M1 running")
    assert not problems
    assert observation.when == "always"
    assert observation.look.state == (("M1", "running"),)
