"""Join lines: what fits, what a pin holds, which pin a core of a cordset reaches."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.base import Interval, Span
from ringout.cell.catalogue import find_part
from ringout.cell.joins import JoinBuilder, JoinWords, holds, mates
from ringout.cell.model import Cable, Item, Terminal
from ringout.cell.part import Socket
from ringout.cell.places import Places, split_word

NOWHERE = Span("test", 1, 1, 1)


def part(name):
    found = find_part(name)
    assert found is not None, name
    return found


def item(name, kind):
    return Item(name, part(kind), "", {}, {}, NOWHERE, NOWHERE)


def cable(name, kind):
    return Cable(name, part(kind), Interval.exact(5.0), NOWHERE, NOWHERE, NOWHERE)


def builder(items, cables=()):
    return JoinBuilder(
        Places(
            {n: item(n, k) for n, k in dict(items).items()},
            {n: cable(n, k) for n, k in dict(cables).items()},
        )
    )


def line(number, a, over, b):
    """Return the words of a join line, each with the place it has in `  - A  OVER  B`."""
    column = 5
    spans = []
    for word in (a, over, b):
        spans.append(Span("test", number, column, column + len(word)))
        column += len(word) + 2
    return JoinWords(a, spans[0], over, spans[1], b, spans[2], Span("test", number, 5, column))


def add(build, *lines):
    for number, (a, over, b) in enumerate(lines, 1):
        build.add(line(number, a, over, b))
    build.finish()
    return build


def places_of(build):
    return {(str(j.a), str(j.b)) for j in build.joins}


PANEL = {"K1": "io-panel-16x16", "S1": "pushbutton-1no", "B1": "inductive-pnp-no"}


def test_a_core_is_landed_by_hand():
    build = add(builder(PANEL, {"W1": "cable-4x0.34"}), ("S1:13", "W1:BN", "K1-X1:1"))
    assert build.problems == []
    (join,) = build.joins
    assert (str(join.a), join.conductor, str(join.b)) == ("S1:13", "W1:BN", "K1-X1:1")
    assert not join.plugged
    assert (join.a_span.column, join.core_span.column, join.b_span.column) == (5, 12, 19)


def test_a_link_needs_no_cable():
    build = add(builder(PANEL), ("S1:13", "", "K1-X1:1"))
    assert build.problems == []
    assert build.joins[0].conductor == "S1:13 to K1-X1:1"


@pytest.mark.parametrize("turned", [False, True])
def test_a_cordset_is_plugged_pin_to_pin_whichever_end_is_named_first(turned):
    ends = ("K1-X2", "W1", "B1") if turned else ("B1", "W1", "K1-X2")
    build = add(builder(PANEL, {"W1": "cordset-m12-4"}), ends)
    assert build.problems == []
    joined = {tuple(sorted(pair)) for pair in places_of(build)}
    # the sensor has no pin 2, so the white core ends in the air
    assert joined == {("B1-X:1", "K1-X2:1"), ("B1-X:3", "K1-X2:3"), ("B1-X:4", "K1-X2:4")}
    assert {j.core for j in build.joins} == {"BN", "BU", "BK"}
    assert all(j.plugged for j in build.joins)


def test_a_crossed_cordset_crosses():
    panel = {**PANEL, "B1": "inductive-pnp-complementary"}
    build = add(builder(panel, {"W1": "cordset-m12-4-crossed-2-4"}), ("B1", "W1", "K1-X2"))
    assert ("B1-X:4", "K1-X2:2") in places_of(build)
    assert ("B1-X:2", "K1-X2:4") in places_of(build)


def test_a_plug_of_four_pins_fits_a_socket_of_five():
    build = add(
        builder({**PANEL, "Y1": "m12-y-splitter"}), ("Y1-T", "", "K1-X2"), ("B1", "", "Y1-A")
    )
    assert build.problems == []
    assert ("Y1-T:4", "K1-X2:4") in places_of(build)


@pytest.mark.parametrize(
    ("lines", "code", "number", "column"),
    [
        # two lines on one core; the second is the wrong one
        ([("S1:13", "W1:BN", "K1-X1:1"), ("S1:14", "W1:BN", "K1-X1:4")], "W101", 2, 12),
        # a pin of a connector takes one core
        ([("S1:13", "W1:BN", "K1-X1:1"), ("S1:14", "W1:BK", "K1-X1:1")], "W107", 2, 19),
        ([("B1", "W2", "K1-X1"), ("S1:13", "W1:BN", "K1-X1:1")], "W105", 2, 19),
        ([("B1", "W2", "K1-X1"), ("B1", "W3", "K1-X2")], "W105", 2, 5),
        ([("B1", "W1", "K1-X1")], "W106", 1, 9),
        ([("S1:13", "W1:BN", "S1:13")], "W103", 1, 5),
        ([("S1:13", "W9:BN", "K1-X1:1")], "N304", 1, 12),
        ([("S1:13", "W1:GN", "K1-X1:1")], "N305", 1, 12),
        ([("S1:19", "W1:BN", "K1-X1:1")], "N303", 1, 5),
        ([("S1:13", "W1:BN", "K1-X1:9")], "N303", 1, 19),
        ([("S9:13", "W1:BN", "K1-X1:1")], "N302", 1, 5),
    ],
)  # fmt: skip
def test_what_cannot_be_joined(lines, code, number, column):
    cables = {"W1": "cable-4x0.34", "W2": "cordset-m12-4", "W3": "cordset-m12-4"}
    build = add(builder(PANEL, cables), *lines)
    problems = [*build.problems, *build.places.problems]
    assert [p.code for p in problems] == [code], [p.message for p in problems]
    assert (problems[0].span.line, problems[0].span.column) == (number, column)
    assert problems[0].fix


def test_both_ends_are_looked_at_when_the_cable_is_unknown():
    build = add(builder(PANEL), ("S9:13", "W9:BN", "K1-X1:9"))
    assert [p.code for p in build.places.problems] == ["N304", "N302", "N303"]


def test_a_full_pin_names_who_holds_it_and_a_free_place():
    panel = {"K1": "io-block-8-inputs", "S1": "pushbutton-1no", "S2": "pushbutton-1no"}
    build = add(builder(panel), ("S1:14", "", "K1-X1:4"), ("S2:14", "", "K1-X1:4"))
    (problem,) = build.problems
    assert problem.related[0].span.line == 1
    assert "free" in problem.fix
    named = problem.fix.split("land it on ")[1].split()[0].rstrip(",")
    # pin 4 of X1 is the only place of channel 1, so the free place is another channel
    assert named != "K1-X1:4"
    assert "channel K1.I" in problem.fix


def test_a_full_supply_pin_names_another_pin_of_the_same_point():
    build = add(
        builder({**PANEL, "S2": "pushbutton-1no"}),
        ("S1:13", "", "K1-X1:1"),
        ("S2:13", "", "K1-X1:1"),
    )
    (problem,) = build.problems
    assert "same point" in problem.fix


def test_a_clamp_takes_two_and_not_three():
    build = add(
        builder({"X1": "terminal-block-4", "S1": "pushbutton-1no", "S2": "pushbutton-1no"}),
        ("S1:13", "", "X1:1"),
        ("S1:14", "", "X1:1"),
        ("S2:13", "", "X1:1"),
    )
    assert [p.code for p in build.problems] == ["W107"]
    assert len(build.joins) == 2


@pytest.mark.parametrize(
    ("kind", "terminal", "most"),
    [
        ("io-panel-16x16", Terminal("K1", "X1", "4"), 1),
        ("io-panel-16x16", Terminal("K1", "XS", "1"), 2),  # feed on clamps
        ("terminal-block-4", Terminal("X1", "", "1"), 2),
    ],
)
def test_how_many_conductors_a_place_holds(kind, terminal, most):
    assert holds(part(kind), terminal) == most


GENDERS = ("male", "female")
CONNECTORS = ("m12-a-4", "m12-a-5", "m8-3", "din-valve")


@given(st.sampled_from(CONNECTORS), st.sampled_from(GENDERS), st.sampled_from(CONNECTORS),
       st.sampled_from(GENDERS))  # fmt: skip
def test_mating_is_mutual_and_needs_opposite_genders(one, gender, other, its):
    socket = Socket("X", other, its, {}, NOWHERE)
    turned = Socket("Y", one, gender, {}, NOWHERE)
    fits = mates((one, gender), socket)
    assert fits == mates((other, its), turned)
    if fits:
        assert gender != its
        assert one.split("-")[0] == other.split("-")[0]
    if one == other:
        assert fits == (gender != its)


names = st.from_regex(r"[A-Z][0-9]{1,3}", fullmatch=True)
pins = st.from_regex(r"[A-Z0-9+]{1,4}", fullmatch=True)


@given(names, st.one_of(st.just(""), pins), pins)
def test_a_word_for_a_place_reads_back(name, socket, pin):
    place = Terminal(name, socket, pin)
    assert Terminal(*split_word(str(place))) == place


def test_a_taken_pin_is_told_a_place_that_nothing_takes_further_down():
    """K1-X1:2 and :4 are taken by a plug and a core that stand later in the file."""
    build = builder({**PANEL, "S2": "pushbutton-1no"}, {"W1": "cordset-m12-4"})
    first = [("S1:14", "", "K1-X2:4"), ("S2:14", "", "K1-X2:4")]
    add(build, *first, ("B1", "W1", "K1-X1"), ("S1:13", "", "K1-X2:2"))
    (problem,) = build.problems
    assert problem.code == "W107"
    place = problem.fix.removeprefix("land it on ").split(" ")[0]
    assert place not in {"K1-X2:2", "K1-X2:4"}
    assert not place.startswith("K1-X1:")
    assert "channel K1.I" in problem.fix  # an input's pin was meant, no output will do


def test_a_taken_pin_is_told_the_place_a_signal_waits_for():
    build = builder({**PANEL, "S2": "pushbutton-1no"})
    build.named = {"K1.I16": "local_mode"}  # by the panel's table on X8, pin 2
    add(build, ("S1:14", "", "K1-X8:4"), ("S2:14", "", "K1-X8:4"))
    (problem,) = build.problems
    assert problem.fix == "land it on K1-X8:2 (free, channel K1.I16, local_mode)"


def test_a_second_core_on_a_common_pin_is_told_no_channel():
    build = builder(PANEL)

    add(build, ("S1:13", "", "K1-X1:1"), ("S1:14", "", "K1-X1:1"))
    (problem,) = build.problems
    assert "channel" not in problem.fix


def test_a_device_with_one_socket_is_named_without_it():
    build = add(builder(PANEL, {"W1": "cable-4x0.34"}), ("B1:1", "W1:BN", "K1-X1:1"))
    assert build.problems == []
    assert places_of(build) == {("B1-X:1", "K1-X1:1")}


@pytest.mark.parametrize("word", ["B1:9", "K1:4", "B1-Y:1"])
def test_a_pin_of_no_single_socket_is_refused(word):
    build = add(builder(PANEL, {"W1": "cable-4x0.34"}), (word, "W1:BN", "K1-X1:1"))
    assert [p.code for p in build.places.problems] == ["N303"]
    assert build.joins == []
