"""Lines of `live`: addresses of channels, and what is wrong with a line."""

from __future__ import annotations

import pytest

from ringout.cell.links import modbus_target
from ringout.cell.resolve import resolve_cell
from ringout.cellfile import parse_cell_text

HEAD = "cell: x\nitems:\n  K1: io-panel-16x16\n  S1: pushbutton-1no\nlive:\n  "


def links(line: str):
    text, problems = parse_cell_text(HEAD + line + "\n", "cell.yaml")
    assert text is not None
    cell, more = resolve_cell(text)
    return cell.links, [*problems, *more]


def test_channels_are_numbered_on_from_one_address():
    found, problems = links("K1: {modbus: robot-k1, inputs: 100, outputs: 0, map: {I16: 7}}")
    assert not problems
    link = found["K1"]
    assert (link.protocol, link.target, link.unit, link.table) == (
        "modbus", "robot-k1:502", 1, "discrete",
    )  # fmt: skip
    assert link.places["I1"] == 100
    assert link.places["I15"] == 114
    assert link.places["I16"] == 7
    assert link.places["O1"] == 0


def test_each_channel_has_its_node():
    found, problems = links('K1: {opcua: "opc.tcp://block-k2:4840", inputs: "ns=2;s=P.{channel}"}')
    assert not problems
    assert found["K1"].places["I3"] == "ns=2;s=P.I3"


def test_how_a_controller_is_entered():
    line = 'K1: {opcua: "opc.tcp://k1:4840", user: setter, certificate: a.pem, key: b.pem}'
    found, problems = links(line)
    assert not problems
    access = found["K1"].access
    assert (access.security, access.user, access.certificate) == ("encrypt", "setter", "a.pem")
    plain, problems = links('K1: {opcua: "opc.tcp://k1:4840", inputs: "ns=2;s={channel}"}')
    assert not problems
    assert plain["K1"].access.security == "none"


def test_a_password_in_the_file_is_refused_and_not_repeated():
    _, problems = links('K1: {opcua: "opc.tcp://k1:4840", user: setter, password: Tulip-7}')
    (problem,) = problems
    assert "does not belong in the file" in problem.message
    assert "RINGOUT_PASSWORD_K1" in (problem.fix or "")
    assert "Tulip-7" not in problem.message + (problem.fix or "")


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ('K1: {opcua: "opc.tcp://a:1", security: full}', "security: full"),
        ("K1: {modbus: robot-k1, user: setter}", "user: setter"),
        ("K9: {modbus: robot-k1, inputs: 0}", "K9"),
        ("S1: {modbus: robot-k1, inputs: 0}", "S1"),
        ("K1: {inputs: 0}", "protocol"),
        ("K1: {modbus: a, opcua: b}", "protocol"),
        ("K1: {modbus: robot-k1:99999, inputs: 0}", "address"),
        ("K1: {opcua: plc-5, inputs: q}", "address"),
        ("K1: {modbus: robot-k1, inputs: -4}", "whole number"),
        ("K1: {modbus: robot-k1, table: bits}", "table"),
        ("K1: {modbus: robot-k1, inputs: 0, map: {I77: 3}}", "I77"),
        ("K1: {modbus: robot-k1, input: 0}", "`input`"),
        ("K1: soon", "how it is read"),
    ],
)
def test_a_line_that_cannot_be_used_is_told(line, word):
    found, problems = links(line)
    assert any(word in p.message for p in problems), [p.message for p in problems]
    assert all(p.fix for p in problems)
    assert "Traceback" not in str(found)


@pytest.mark.parametrize(
    ("text", "target"),
    [
        ("plc", "plc:502"),
        ("plc:1502", "plc:1502"),
        ("[::1]:5", "[::1]:5"),
        ("a b", None),
        ("x:0", None),
    ],
)
def test_an_address_of_a_server(text, target):
    assert modbus_target(text) == target
