"""Every fault of both demo cells is solved, balanced, and told in words."""

from __future__ import annotations

from pathlib import Path

import pytest

from ringout import run
from ringout.findings.effects import EFFECT_KINDS, fault_table
from ringout.solve import CERTIFICATE_A

EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "caddy-lidder"
KINDS = {
    "open-landed", "open-cord", "open-link", "joint", "short-pins", "short-cores", "short-rail",
    "water", "swap", "swap-plugs", "off-pin", "off-plug", "reversed", "wrong-part", "welded",
    "never", "stage-shorted", "stage-dead", "no-return", "suppressor-absent",
    "suppressor-reversed", "supply-low",
}  # fmt: skip  # the kinds of the design, section 8


@pytest.mark.parametrize("name", ["first-drawing.yaml", "corrected.yaml"])
def test_all_faults_of_the_demo_cell(name):
    table = fault_table(run.load(str(EXAMPLES / name)).cell)
    assert table.worst_residual_a <= CERTIFICATE_A
    assert not table.not_run
    assert {row.fault.kind for row in table.rows} >= KINDS - {"suppressor-reversed"}
    for row in table.rows:
        assert {e.kind for e in row.effects} <= set(EFFECT_KINDS)
        assert all(e.text for e in row.effects)
        assert row.effects or row.why


def test_an_open_core_and_a_short_of_the_stop_button():
    """An open supply core darkens the signal; its core on 0 V shorts the closed break contact."""
    table = fault_table(
        run.load(str(EXAMPLES / "corrected.yaml")).cell,
        chosen=lambda f: f.id in ("open W2:BN@S2", "short W2:BK to 0V"),
    )
    rows = {row.fault.id: row for row in table.rows}
    assert any("finish_cycle" in e.text for e in rows["open W2:BN@S2"].effects)
    assert rows["short W2:BK to 0V"].harm
