"""The commands as a person types them: answers, exit codes, JSON keys, errors without traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ringout.cli.main import cli

EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "caddy-lidder"
FIRST = str(EXAMPLES / "first-drawing.yaml")
CORRECTED = str(EXAMPLES / "corrected.yaml")


def ask(*words: str) -> Result:
    result = CliRunner().invoke(cli, list(words))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    assert "Traceback" not in result.output
    return result


def test_prove_exits_0_on_a_clean_cell_and_1_on_errors():
    assert ask("prove", CORRECTED).exit_code == 0
    assert ask("prove", "--quick", FIRST).exit_code == 1


def test_prove_json_has_the_promised_keys():
    answer = json.loads(ask("prove", CORRECTED, "--json").stdout)
    assert {"signals", "findings", "not_run"} <= set(answer)
    for signal in answer["signals"]:
        assert {"name", "channel", "verdict", "on", "off"} <= set(signal)
        assert signal["verdict"] in {"works", "marginal", "fails", "undecided"}
        for level in (signal["on"], signal["off"]):
            assert {"v_low", "v_typ", "v_high", "i_typ_ma", "margin_v"} <= set(level)
            assert level["v_low"] <= level["v_typ"] + 1e-6 <= level["v_high"] + 2e-6
    for finding in answer["findings"]:
        assert {"code", "severity", "message", "where", "remedies"} <= set(finding)
        for place in finding["where"]:
            assert {"file", "line", "column"} == set(place)
    assert answer["not_run"] == []


@pytest.mark.parametrize(
    "words",
    [
        ("prove", "no-such-file.yaml"),
        ("meter", "no-such-file.yaml", "--probe", "A:1", "B:1"),
        ("sheet", "no-such-file.yaml"),
        ("netlist", "no-such-file.yaml"),
        ("parts", "no-such-part"),
        ("prove",),
        ("meter", CORRECTED, "--probe", "K1-X1:4", "K1-X1:77"),
        ("meter", CORRECTED, "--probe", "K1-X1:4", "K9:1"),
        ("meter", CORRECTED, "--probe", "W1:BK@S1", "K1-X1:3"),
        ("meter", CORRECTED, "--probe", "K1-X1:4", "K1-X1:3", "--while", "S1 squeezed"),
        ("meter", CORRECTED, "--probe", "K1-X1:4", "K1-X1:3", "--while", "S1 pressed or"),
        ("meter", CORRECTED, "--probe", "K1-X1:4", "K1-X1:3", "--while", "S1 pressed or B1 target"),
        ("meter", CORRECTED, "--probe", "K1-X1:4", "K1-X1:3", "--lift", "W1:XX@S1"),
        ("meter", CORRECTED, "--probe", "K1-X1:4", "K1-X1:3", "--mode", "amps"),
        ("netlist", CORRECTED, "--while", "nonsense"),
    ],
)
def test_what_cannot_be_done_is_said_plainly_with_exit_2(words):
    result = ask(*words)
    assert result.exit_code == 2
    assert result.output.strip()


def test_the_excerpt_in_the_readme_is_what_the_program_says():
    readme = (EXAMPLES.parents[1] / "README.md").read_text("utf-8")
    excerpt = readme.split("```text\n")[1].split("```")[0]
    said = ask("prove", FIRST).output.splitlines()
    for line in excerpt.rstrip().splitlines():
        wanted = line.replace("examples/caddy-lidder/", "")
        assert any(found.endswith(wanted) for found in said), line


def test_a_broken_statement_costs_itself_only(tmp_path):
    text = Path(CORRECTED).read_text("utf-8").replace("W1:BK   K1-X1:4", "W1:BK   K1-X1:44")
    file = tmp_path / "broken.yaml"
    file.write_text(text, encoding="utf-8")
    result = ask("prove", "--json", "--quick", str(file))
    assert result.exit_code == 2
    answer = json.loads(result.stdout)
    verdicts = {s["name"]: s["verdict"] for s in answer["signals"]}
    assert verdicts["start_lidding"] == "undecided"  # its core was lost with the line
    assert sum(v == "works" for v in verdicts.values()) == len(verdicts) - 1
    first = answer["findings"][0]
    assert first["code"] == "N303"
    line = text.splitlines()[first["where"][0]["line"] - 1]
    assert line[first["where"][0]["column"] - 1 :].startswith("K1-X1:44")


def reading(*words: str) -> dict:
    return json.loads(ask("meter", CORRECTED, "--json", "--probe", *words).stdout)


def test_meter_reads_what_hand_calculation_says():
    """24.1 V supply; the input draws 3 mA through 12 m of 0.34 mm2, some millivolts (Ohm's law)."""
    on = reading("K1-X1:4", "K1-X1:3", "--while", "S1 pressed")
    assert {"value", "low", "high", "unit", "why"} <= set(on)
    assert on["unit"] == "V"
    assert on["low"] <= on["value"] <= on["high"]
    assert on["value"] == pytest.approx(24.05, abs=0.1)
    off = reading("K1-X1:4", "K1-X1:3")
    assert off["value"] == pytest.approx(0.0, abs=0.01)
    back = reading("K1-X1:3", "K1-X1:4", "--while", "S1 pressed")
    assert back["value"] == pytest.approx(-on["value"], abs=1e-6)


def test_a_lifted_core_shows_the_supply_or_nothing_firm():
    """An open end behind a closed contact is at 24 V; behind an open one it floats (physics)."""
    lift = ("--lift", "W1:BK@K1")
    live = reading("W1:BK@K1", "K1-X1:3", *lift, "--while", "S1 pressed")
    assert live["value"] == pytest.approx(24.06, abs=0.1)
    floating = reading("W1:BK@K1", "K1-X1:3", *lift)
    assert "low-impedance" in floating["why"]
    loaded = reading("W1:BK@K1", "K1-X1:3", *lift, "--mode", "lowz")
    assert abs(loaded["value"]) < 0.01


def test_ohms_with_everything_off_in_both_directions():
    """12 m of 0.34 mm2 at most 57 ohm/km, two clamps, two pins: under 1 ohm (iec-60228, VDE)."""
    wire = reading("S1:14", "K1-X1:4", "--mode", "ohms")
    assert wire["unit"] == "ohm"
    assert 0.2 < wire["value"] < 0.6
    assert wire["reverse"]["value"] == pytest.approx(wire["value"], rel=0.01)
    relay = reading("K5:A1", "K5:A2", "--mode", "ohms")
    # one way the meter's 1 mA meets 2.2 kohm beside the output's diode, the other way the diode
    assert relay["value"] != pytest.approx(relay["reverse"]["value"], rel=0.02)
    open_ = reading("S1:13", "S1:14", "--mode", "ohms")
    assert open_["value"] is None or open_["value"] > 500
    closed = reading("S1:13", "S1:14", "--mode", "ohms", "--while", "S1 pressed")
    assert closed["value"] < 0.2


def test_netlist_prints_spice_and_element_list():
    spice = ask("netlist", CORRECTED).stdout
    assert spice.rstrip().endswith(".end")
    text = ask("netlist", CORRECTED, "--text").stdout
    assert "W1:BK" in text
    answer = json.loads(ask("netlist", CORRECTED, "--json").stdout)
    assert answer["netlist"] == spice


def test_parts_lists_at_least_sixty_and_explains_one():
    listed = json.loads(ask("parts", "--json").stdout)["parts"]
    assert len(listed) >= 60
    shown = ask("parts", "inductive-2wire-no").stdout
    for word in ("Use:", "Mistake:", "Inside:", "Source:", "Positions"):
        assert word in shown
    one = json.loads(ask("parts", "inductive-2wire-no", "--json").stdout)
    assert {"terminals", "sockets", "inside", "source", "use", "mistakes"} <= set(one)
    assert "did you mean" in ask("parts", "inductive-2wire-n").output


def test_sheet_writes_its_files(tmp_path):
    result = ask(
        "sheet", CORRECTED, "--json", "--csv", str(tmp_path / "s.csv"),
        "--xlsx", str(tmp_path / "s.xlsx"), "--faces", str(tmp_path / "faces"),
    )  # fmt: skip
    assert result.exit_code == 0
    assert {"connections", "cut_list", "faces", "io"} <= set(json.loads(result.stdout))
    assert (tmp_path / "s.csv").stat().st_size > 1000
    assert (tmp_path / "s.xlsx").stat().st_size > 1000
    assert len(list((tmp_path / "faces").glob("*.svg"))) >= 10


def test_schema_accepts_the_starter_that_new_writes_and_the_starter_proves_clean(tmp_path):
    assert json.loads(ask("schema").stdout)["type"] == "object"
    file = tmp_path / "mine.yaml"
    assert ask("new", str(file)).exit_code == 0
    assert ask("new", str(file)).exit_code == 2  # never overwritten
    result = ask("prove", str(file))
    assert result.exit_code == 0, result.output


def test_user_parts_beside_the_cell_win(tmp_path):
    file = tmp_path / "mine.yaml"
    ask("new", str(file))
    folder = tmp_path / "parts"
    folder.mkdir()
    part = json.loads(ask("parts", "pushbutton-1no-gold", "--json").stdout)
    assert part["name"] == "pushbutton-1no-gold"
    (folder / "pushbutton-1no-gold.yaml").write_text(
        "part: pushbutton-1no-gold\ntitle: our own\nfamily: switch\nletter: S\n"
        "source: common practice\nterminals: [13, 14]\nactors: {button: [released, pressed]}\n"
        "inside:\n  contact: {kind: contact, from: 13, to: 14, closed: 9 kohm, when: pressed}\n",
        encoding="utf-8",
    )
    answer = json.loads(ask("prove", "--quick", "--json", str(file)).stdout)
    start = next(s for s in answer["signals"] if s["name"] == "start")
    assert start["verdict"] == "fails"  # 9 kohm in series leaves a Type 3 input below 11 V


def test_faults_has_the_promised_keys_and_filters():
    answer = json.loads(ask("faults", CORRECTED, "--cable", "W2", "--json").stdout)
    assert answer["count"] == len(answer["faults"]) > 10
    for fault in answer["faults"]:
        assert {"id", "kind", "where", "effects", "harm", "latent"} <= set(fault)
        assert fault["where"]
    harmful = json.loads(
        ask("faults", CORRECTED, "--cable", "W2", "--effect", "harm", "--json").stdout
    )
    assert 0 < harmful["count"] < answer["count"]
    assert all(f["harm"] for f in harmful["faults"])
    unknown = ask("faults", CORRECTED, "--cable", "W222")
    assert unknown.exit_code == 2
    assert "W22" in unknown.output
