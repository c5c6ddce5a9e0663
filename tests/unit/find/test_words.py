"""Sentences people say about the demo cell, and what each must mean.

Source of every expectation: the wiring of examples/caddy-lidder/corrected.yaml read by hand, and
the rules on docs/observations.md.
"""

from __future__ import annotations

import re

import pytest

from ringout import run
from ringout.circuit.compile import compile_circuit
from ringout.find.words import understand, understand_all, understand_file
from ringout.find.words.names import Names
from ringout.findings.effects import watch
from ringout.findings.looks import lamp_of
from tests.contract.house import ROOT

DEMOS = [
    run.load(str(path)).cell for path in sorted((ROOT / "examples" / "caddy-lidder").glob("*.yaml"))
]
CELL = run.load(str(ROOT / "examples" / "caddy-lidder" / "corrected.yaml")).cell
PRESSED = (("S1", "pressed"),)


PAGE = (ROOT / "docs" / "observations.md").read_text("utf-8")
*TOLD, ASKED_BACK = re.findall(r"```text\n(.*?)```", PAGE, flags=re.DOTALL)


def said(text):
    found, problems = understand(CELL, text)
    assert problems == [], problems
    assert found is not None
    assert found.text == text.strip()
    return found


def problem(text, cell=CELL):
    found, problems = understand(cell, text)
    assert found is None
    assert len(problems) == 1
    return problems[0]


OFF, DOUBT, ON, GLOW = (0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (0.5, 1.5)


@pytest.mark.parametrize(
    ("text", "kind", "what", "range_", "state"),
    [
        ("start_lidding off while S1 pressed", "level", "start_lidding", OFF, PRESSED),
        ("START_LIDDING Off While s1 Pressed", "level", "start_lidding", OFF, PRESSED),
        ("while S1 pressed, K1.I1 is off", "level", "start_lidding", OFF, PRESSED),
        ("K1.I1 does not come on with S1 held", "level", "start_lidding", OFF, PRESSED),
        ("K1.I3 on", "level", "lid_on_cup", ON, ()),
        ("input 3 of K1 high", "level", "lid_on_cup", ON, ()),
        ("signal magazine_low undefined", "level", "magazine_low", DOUBT, ()),
        ("I8 low", "level", "on_line", OFF, ()),  # only K1 has a signal on an I8
        ("K1.I6 1", "level", "caddy_at_stop", ON, ()),
        ("lamp of K1.I6 lit", "level", "caddy_at_stop", ON, ()),
        ("start_lidding off while S1 not released", "level", "start_lidding", OFF, PRESSED),
        ("start_lidding on while S1 released", "level", "start_lidding", ON, ()),  # that is rest
        ("lamp of B6 on", "lamp", "B6", ON, ()),
        ("B6 lamp dark", "lamp", "B6", OFF, ()),
        ("B6's LED is dim while B6 target", "lamp", "B6", GLOW, (("B6", "target"),)),
        ("B6 glows", "lamp", "B6", GLOW, ()),
        ("B6 not dark", "lamp", "B6", (0.5, 2.0), ()),
        ("S1 lit", "lamp", "S1", ON, ()),
        ("Q1 energised while K1.O1 on", "shows", "Q1", ON, (("K1.O1", "on"),)),
        ("Q1 pulled in while clamp on", "shows", "Q1", ON, (("K1.O1", "on"),)),
        ("Q2 dropped", "shows", "Q2", OFF, ()),
        ("K5 at rest", "shows", "K5", OFF, ()),
        ("K5 half energised", "shows", "K5", DOUBT, ()),
        ("P1.red lit", "shows", "P1.red", ON, ()),
        ("red lamp of P1 glowing", "shows", "P1.red", GLOW, ()),
    ],
)
def test_what_is_seen_by_eye(text, kind, what, range_, state):
    found = said(text)
    assert found.kind == "word"
    assert (found.look.kind, found.look.what, found.look.state) == (kind, what, state)
    assert (found.low, found.high) == range_
    assert found.when == "always"
    assert found.look.powered
    assert found.look.lifted == ()


@pytest.mark.parametrize(
    ("text", "when", "range_"),
    [
        ("K1.I6 flickers", "sometimes", (0.0, 2.0)),
        ("K5 chatters", "sometimes", (0.0, 2.0)),
        ("K1.I6 sometimes off", "sometimes", OFF),
        ("K1.I6 off now and then", "sometimes", OFF),
        ("K1.I6 off only while moving", "moving", OFF),
        ("K1.I6 flickers when the arm moves", "moving", (0.0, 2.0)),
        ("sometimes K1.I6 is off when it moves", "moving", OFF),
        ("K1.I6 off only when warm", "warm", OFF),
        ("K1.I6 off after a while", "warm", OFF),
        ("K1.I6 off after 20 minutes", "warm", OFF),
    ],
)
def test_when_it_is_seen(text, when, range_):
    found = said(text)
    assert found.when == when
    assert (found.low, found.high) == range_
    assert found.look.state == ()


@pytest.mark.parametrize(
    "text",
    [
        "K1-X1:4 to K1-X1:3 = 12.3 V",
        "K1-X1:4 to K1-X1:3 is 12.3 V",
        "k1-x1:4 to k1-x1:3: 12,3 volts",
        "K1-X1:4 to K1-X1:3 reads 12.3V",
        "K1-X1:4 against K1-X1:3=12.3 V",
        "between K1-X1:4 and K1-X1:3 the meter shows 12.3 V",
        "measured 12.3 V between K1-X1:4 and K1-X1:3",
        "K1\u2013X1:4 to K1\u2013X1:3 = 12.3 V",  # long dashes, as word processors write
        "K1-X1:4\u2013K1-X1:3 = 12.3 V",
    ],
)
def test_ways_to_tell_a_reading(text):
    found = said(text)
    assert found.kind == "reading"
    assert found.look.kind == "volts"
    assert (str(found.look.a), str(found.look.b)) == ("K1-X1:4", "K1-X1:3")
    assert found.low < 12.3 < found.high
    assert found.understood == "K1-X1:4 to K1-X1:3 = 12.3 V"


def test_ohms_mean_that_the_power_is_off():
    found = said("K1-X1:4 to S1:14 = 0.3 ohm while S1 pressed")
    assert (found.look.kind, found.look.powered, found.look.state) == ("ohms", False, PRESSED)
    assert not said("K1-X1:4 to S1:14 beeps").look.powered


@pytest.mark.parametrize("power", ["with power off", "with T1 off", "without power"])
def test_volts_with_the_power_off(power):
    found = said(f"K1-X1:4 to K1-X1:3 = 0 V {power}")
    assert (found.look.kind, found.look.powered, found.look.state) == ("volts", False, ())


def test_loaded_tester():
    for meter in ("a loaded tester", "low impedance", "a low-impedance meter"):
        assert said(f"K1-X1:4 to K1-X1:3 = 3 V with {meter}").look.kind == "lowz"


@pytest.mark.parametrize(
    ("second", "terminal"),
    [("0 V", "T1:-"), ("ground", "T1:-"), ("24 V", "T1:+"), ("+24V", "T1:+"), ("PE", "T1:PE")],
)
def test_a_pole_is_that_of_the_only_supply(second, terminal):
    found = said(f"K1-X1:4 to {second} = 23.9 V")
    assert str(found.look.b) == terminal
    assert found.understood == f"K1-X1:4 to {terminal} = 23.9 V (taken: {second} is {terminal})"


def test_a_pole_of_two_supplies_is_asked_back(tmp_path):
    text = "cell: two\nitems:\n  T1: supply-24v-5a\n  T2: supply-24v-5a\n  S1: pushbutton-1no\n"
    path = tmp_path / "two.yaml"
    path.write_text(text, "utf-8")
    cell = run.load(str(path)).cell
    found = problem("S1:13 to 0 V = 24 V", cell)
    assert found.code == "N317"
    assert "T1:-" in found.fix
    assert "T2:-" in found.fix


@pytest.mark.parametrize(
    ("text", "lifted", "a"),
    [
        # named
        ("K2-X2:4 to K2-X2:3 = 3 V with W16:BK@B6 lifted", ("W16:BK@B6",), "K2-X2:4"),
        ("W1:BK@S1 to K1-X1:3 = 24 V with W1:BK@S1 lifted", ("W1:BK@S1",), "W1:BK@S1"),
        # one lifts where one measures
        ("K1-X1:4 to K1-X1:3 = 24 V with W1:BK lifted", ("W1:BK@K1",), "K1-X1:4"),
        ("S1:14 to K1-X1:3 = 24 V with W1:BK lifted", ("W1:BK@S1",), "S1:14"),
        ("W1:BK@S1 to K1-X1:3 = 24 V with W1:BK lifted", ("W1:BK@S1",), "W1:BK@S1"),
        ("W1:BK to K1-X1:3 = 24 V with W1:BK lifted at S1", ("W1:BK@S1",), "W1:BK@S1"),
        # no probe near: in the field
        ("K1-X7:4 to K1-X7:3 = 0 V with W1:BK lifted at S1", ("W1:BK@S1",), "K1-X7:4"),
        ("T1:+ to T1:- = 24 V with W1:BK lifted", ("W1:BK@S1",), "T1:+"),
        # plugs
        (
            "K1-X5:4 to K1-X5:3 = 24 V with B4 unplugged",
            ("B4-X:1 to Y1-A:1@B4", "B4-X:4 to Y1-A:4@B4"),
            "K1-X5:4",
        ),
        (
            "K1-X6:4 to K1-X6:3 = 0 V with W11 unplugged at B1",
            ("W11:BK@B1", "W11:BN@B1", "W11:BU@B1"),
            "K1-X6:4",
        ),
    ],
)
def test_what_is_taken_off(text, lifted, a):
    found = said(text)
    assert found.look.lifted == lifted
    assert str(found.look.a) == a


def test_the_end_that_was_chosen_is_told():
    assert "W1:BK is taken off at S1" in said("K1.I1 off with W1:BK lifted").understood


@pytest.mark.parametrize(
    ("text", "kind", "about", "outcome", "when"),
    [
        ("replaced B1, no change", "tried", ("B1",), "no change", "always"),
        ("B1 replaced, still dead", "tried", ("B1",), "no change", "always"),
        ("new B1: same", "tried", ("B1",), "no change", "always"),
        ("replacing B1 cured it", "tried", ("B1",), "cured", "always"),
        ("replaced B1 with a new one, did not help", "tried", ("B1",), "no change", "always"),
        ("tightened K1-X1:4, cured", "tried", ("K1-X1:4",), "cured", "always"),
        ("cycling power cured it for a while", "tried", (), "cured", "sometimes"),
        ("wiggling W11 brings it back", "tried", ("W11",), "cured", "moving"),
        ("unplugging B4 cured it", "tried", ("B4",), "cured", "always"),
        ("swapping W11 and W12 moved the fault", "swapped", ("W11", "W12"), "moved", "always"),
        ("swapped B1 with B2, fault stayed", "swapped", ("B1", "B2"), "stayed", "always"),
        ("W11 and W12 swapped, the fault went with it", "swapped", ("W11", "W12"), "moved",
         "always"),
        ("swapped B1 and B2, did not follow", "swapped", ("B1", "B2"), "stayed", "always"),
        ("another load works on W1", "proven", ("W1",), "good", "always"),
        ("W1 rung out good", "proven", ("W1",), "good", "always"),
        ("W1:BK rung out ok", "proven", ("W1:BK",), "good", "always"),
        ("B1 works elsewhere", "proven", ("B1",), "good", "always"),
    ],
)  # fmt: skip
def test_what_was_done(text, kind, about, outcome, when):
    found = said(text)
    assert (found.kind, found.about, found.outcome, found.when) == (kind, about, outcome, when)
    assert found.look is None


@pytest.mark.parametrize(
    ("text", "whats"),
    [
        ("all inputs on K1-X3 off", ["lid_on_cup", "cup_empty"]),
        ("all sensors on K1-X3 dead", ["lid_on_cup", "cup_empty"]),
        ("all sensors on Y1 dead", ["clamp_open", "clamp_closed"]),
        ("all inputs of K2 off", ["door_closed", "magazine_low", "vacuum_reached"]),
        ("everything on K2 dead", ["door_closed", "magazine_low", "vacuum_reached"]),
        ("all lamps of P1 dark", ["P1.red", "P1.amber", "P1.green"]),
        ("all sensor lamps dark", ["B1", "B2", "B3", "B4", "B5", "B6", "B7"]),
        ("all valves dead", ["Q1", "Q2"]),
        ("all outputs of K1 dead", ["Q1", "Q2", "K5", "P1.red", "P1.green", "P1.amber"]),
        ("K1.I3, K1.I5 and K1.I6 off", ["lid_on_cup", "clamp_open", "caddy_at_stop"]),
        ("K1.I3 off; Q1 at rest", ["lid_on_cup", "Q1"]),
    ],
)
def test_several_things_at_once(text, whats):
    found, problems = understand_all(CELL, text)
    assert problems == []
    assert [o.look.what for o in found] == whats
    assert all((o.low, o.high) == OFF for o in found)
    alone, asked = understand(CELL, text)
    assert alone is None
    assert asked[0].code == "N317"


def test_a_file_of_sentences():
    text = "# seen on Monday\n\nK1.I3 off   # lamp too\n  K1.I6 offf\nK1.I6 on; S9 lit\n"
    found, problems = understand_file(CELL, text, file="seen.txt")
    assert [o.look.what for o in found] == ["lid_on_cup", "caddy_at_stop"]
    places = [(p.span.file, p.span.line, p.span.column) for p in problems]
    assert places == [("seen.txt", 4, 9), ("seen.txt", 5, 11)]


@pytest.mark.parametrize(
    ("text", "code", "message", "fix"),
    [
        ("K1-X1:4 to K1-X1:3 24", "N317", "volts or ohms?", "24 V"),
        ("K1-X1:4 to K1-X1:3 1,234 V", "N317", "comma", "1.234 V"),
        ("K1-X1:4 = 24 V", "N317", "to where?", "K1-X1:4 to T1:-"),
        ("K1-X1:4 to K1-X1:3", "N317", "what did the meter show?", "= 0.4 V"),
        ("K1-X1:4 to K1-X1:3 = 4 kg", "N318", "nothing a meter shows", "volts or ohms"),
        ("K1-X1:4 to K1-X1:3 = 4 mA", "N318", "nothing a meter shows", "volts between"),
        ("K1-X1:4 to K1-X1:3 = 400 V", "N318", "more than all supplies", "check the number"),
        ("K1-X1:4 to K1-X1:3 = -2 ohm", "N318", "below nothing", None),
        ("K1-X1:4 to K1-X1:3 = 2 ohm with power on", "N318", "power off", "power off"),
        ("K1-X1:4 to K1-X1:3 = 2 ohm with a loaded tester", "N318", "no ohms", None),
        ("K1-X1:4 to K1-X1:9 = 4 V", "N303", "no pin 9", "1, 2, 3, 4, 5"),
        ("K1-X1:4 to K9-X1:3 = 4 V", "N302", "no item K9", "did you mean"),
        ("K1-X1:4 to K1-X1:4 = 4 V", "N316", "both probes", None),
        ("W16:BK@B6 to K2-X2:3 = 3 V", "N315", "not taken off", "with W16:BK@B6 lifted"),
        ("W16:BK to K2-X2:3 = 3 V", "N315", "while it is landed", "lifted"),
        ("K1.I6 off with W16:BX lifted", "N315", "no core end", "did you mean `W16:B"),
        ("K1.I6 off with W11 unplugged at K5", "N315", "does not end at K5", "B1"),
        ("start_lidin off", "N316", "start_lidin", "start_lidding"),
        ("B6 on", "N317", "what of B6?", "magazine_low"),
        ("P1 lit", "N317", "which lamp of P1?", "P1.red"),
        ("Q2 lamp lit", "N316", "no lamp", None),
        ("I3 off", "N317", "which I3?", "K1.I3, K2.I3"),
        ("K1.I4 on", "N317", "no signal", "signals"),
        ("K1.O1 on", "N317", "is an output", "Q1 off while K1.O1 on"),
        ("K5 clicks", "N317", "and then?", "energised or at rest"),
        ("K1.I6 energised", "N316", "never `energised`", "undefined"),
        ("K1.I6 off while S1 presed", "N307", "presed", "pressed"),
        ("K1.I6 off while S1 pressed or S2 pressed", "N314", "`or`", "and"),
        ("K1.I6 off while S1 pressed and S1 released", "N314", "at once", None),
        ("K1.I6 off while K5 energised", "N317", "follows its coil", "output"),
        ("K1.I6 off while start_lidding on", "N317", "is an input", "S1 pressed"),
        ("K1.I6 off with a test lamp", "N316", "a test lamp", "while"),
        ("K1.I6 dark, B1 lamp lit", "N316", "something more", ";"),
        ("swapping cords moved the fault", "N317", "which two", "and"),
        ("swapped W11: moved", "N317", "two sides", "W11 and"),
        ("swapped W11 and B2: moved", "N316", "not of one kind", None),
        ("replaced B1", "N317", "what came of it?", "cured or no change"),
        ("replaced the sensor, no change", "N317", "what was replaced?", None),
        ("everything dead", "N317", "everything of what?", None),
        ("hello", "N316", "hello", "start_lidding off while S1 pressed"),
        ("", "N316", "nothing is said", None),
    ],
)
def test_what_is_not_understood_is_told_plainly(text, code, message, fix):
    found = problem(text)
    assert found.code == code
    assert message in found.message
    assert fix is None or fix in found.fix


def test_a_problem_tells_how_far_the_sentence_was_understood():
    found = problem("K1-X1:4 to K1-X1:3 = 4 kg while S1 pressed")
    assert "understood so far: `while S1 pressed, K1-X1:4 to K1-X1:3`" in found.message
    assert (found.span.column, found.span.end_column) == (22, 26)


@pytest.mark.parametrize("cell", DEMOS, ids=lambda c: c.revision)
def test_loads_and_lamps_are_those_the_looks_know(cell):
    circuit = compile_circuit(cell)
    names = Names(cell)
    assert set(names.load_kind) == {w.name for w in watch(circuit) if w.kind == "moves"}
    assert {i for i in cell.items if names.has_lamp(i)} == {
        i for i in cell.items if lamp_of(circuit, i) is not None
    }


@pytest.mark.parametrize("text", [t for block in TOLD for t in block.splitlines()])
def test_the_page_gives_sentences_that_are_understood(text):
    found, problems = understand_all(CELL, text)
    assert problems == []
    assert found


@pytest.mark.parametrize("text", ASKED_BACK.splitlines())
def test_the_page_gives_sentences_that_are_asked_back(text):
    assert problem(text).fix


@pytest.mark.parametrize(("text", "low", "high"), [("0.4 V", 0.346, 0.454), ("24 V", 23.18, 24.82)])
def test_the_page_tells_the_width_of_a_reading(text, low, high):
    found = said(f"K1-X1:4 to K1-X1:3 = {text}")
    assert (found.low, found.high) == (pytest.approx(low), pytest.approx(high))
    assert f"`{text}` is {low} to\n{high} V" in PAGE or f"`{text}` is {low} to {high} V" in PAGE


@pytest.mark.parametrize(
    "text",
    [
        "it worked before", "It worked yesterday.", "worked until last week", "it ran until today",
        "the machine ran fine for two years", "it used to work", "nothing was changed",
        "nothing has been changed", "nobody touched anything", "no changes were made",
        "the wiring is untouched",
    ],
)  # fmt: skip
def test_that_it_worked_before(text):
    found = said(text)
    assert (found.kind, found.understood, found.look) == ("ran", "it worked before", None)


@pytest.mark.parametrize(
    "text",
    ["B1 worked before", "it worked before B1 was replaced", "worked", "replaced B1, no change"],
)
def test_what_does_not_say_that_the_cell_worked(text):
    found, _ = understand_all(CELL, text)
    assert "ran" not in {o.kind for o in found}
