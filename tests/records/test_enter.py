"""A person works through a checkout in the terminal: `enter`, `checkout --record`."""

from __future__ import annotations

import csv
import io
import json

import pytest
from click.testing import CliRunner

from ringout.cli.main import cli
from ringout.cli.records_enter import Walk, Wanted
from tests.records.conftest import CABLES, bad_word, good_word, two_buttons


def said(place, words, lines=()):
    """Run a command of the records and return what came of it."""
    head, *rest = words
    every = ["records", head, str(place.path), *rest, *place.db]
    done = CliRunner().invoke(cli, every, input="".join(f"{line}\n" for line in lines))
    assert "Traceback" not in done.output
    return done


def enter(place, lines, *words, who="Ada"):
    return said(place, ["enter", "--who", who, *words], lines)


def goods(steps):
    return [good_word(s) for s in steps]


def test_a_whole_checkout_is_led_judged_and_stored(place, planned):
    steps = planned[1]
    done = enter(place, goods(steps), "--meter", "meter 7")
    assert done.exit_code == 0, done.output
    assert done.output.count("right: ") == len(steps)
    with place.open() as store:
        state = store.state_of(1)
        assert (state.state, state.run.meter) == ("passed", "meter 7")
        assert store.head().hash in done.output
    again = enter(place, [])
    assert again.exit_code == 2
    assert "has passed" in again.stderr
    assert "--new" in again.stderr


def test_it_goes_on_where_it_stopped(place, planned):
    steps = planned[1]
    first = enter(place, [*goods(steps[:3]), "quit"])
    assert first.exit_code == 3
    second = enter(place, goods(steps[3:]), who="Ben")
    assert second.exit_code == 0, second.output
    assert steps[0].do not in second.output
    with place.open() as store:
        whos = [s.last.who for s in store.steps_of(1)]
        assert whos == ["Ada"] * 3 + ["Ben"] * (len(steps) - 3)
        assert [len(s.readings) for s in store.steps_of(1)] == [1] * len(steps)


def test_power_stays_off_while_a_dead_step_is_wrong(place, planned):
    steps = planned[1]
    dead = [s for s in steps if s.phase == "dead"]
    power = next(s for s in steps if s.phase == "power")
    lines = [bad_word(dead[0]), *goods(dead[1:]), *goods([power])]
    done = enter(place, lines)
    assert done.exit_code == 1
    assert "WRONG" in done.output
    assert dead[0].if_not in done.output
    assert "Power stays off" in done.output
    assert power.do not in done.output
    # by number neither
    assert "Power stays off" in enter(place, [f"step {power.number}", "quit"]).output
    # the wrong one is asked again, and then power may go on
    more = enter(place, [good_word(dead[0]), good_word(power), "quit"])
    assert power.do in more.output
    with place.open() as store:
        assert [r.verdict for r in store.steps_of(1)[0].readings] == ["wrong", "right"]


def test_skipped_and_unclear_steps_stay_open(place, planned):
    steps = planned[1]
    done = enter(place, ["skip", "purple", "", "remark loose plug", good_word(steps[1]), "quit"])
    assert done.exit_code == 3
    assert "purple" in done.output
    with place.open() as store:
        states = store.steps_of(1)
        assert not states[0].readings
        assert states[1].state == "right"
        assert [(r.step, r.text) for r in store.remarks()] == [(2, "loose plug")]


def test_each_sees_what_the_other_has_entered(place, planned, monkeypatch, capsys):
    """Ben enters step 2 while Ada is at step 1; she is told, and goes on with step 3."""
    steps = planned[1]
    enter(place, ["quit"])
    asked = []

    def ask(_walk, state):
        asked.append(state.step.number)
        if len(asked) > 1:
            return None
        with place.open() as store:
            store.add_reading(1, 2, good_word(steps[1]), who="Ben")
        return good_word(steps[0])

    monkeypatch.setattr(Walk, "_ask", ask)
    with place.open() as store:
        Walk(store, 1, Wanted("Ada"), as_json=False).lead()
        assert [len(s.readings) for s in store.steps_of(1)[:3]] == [1, 1, 0]
    assert "Ben: step 2 right" in capsys.readouterr().out
    assert asked == [1, 3]


def test_the_same_step_entered_by_two_is_told_to_the_later(place, planned):
    steps = planned[1]
    enter(place, [good_word(steps[0]), "quit"])
    done = enter(place, [], "--step", "1", "--reading", bad_word(steps[0]), who="Ben")
    assert done.exit_code == 1
    assert "Ada has read this step too: right" in done.output
    shown = said(place, ["show"]).output
    assert "two people did not see the same" in shown
    assert "reading 2" in shown


def test_one_reading_as_json(place, planned):
    steps = planned[1]
    enter(place, ["quit"])
    done = enter(place, [], "--step", "1", "--reading", good_word(steps[0]), "--json")
    answer = json.loads(done.output)
    assert (answer["step"], answer["verdict"], answer["turn"]) == (1, "right", 1)
    assert done.exit_code == 3


def test_led_as_json_is_one_object_a_line(place, planned):
    steps = planned[1]
    done = enter(place, [good_word(steps[0]), "hm", "quit"], "--json")
    lines = [json.loads(line) for line in done.output.splitlines()]
    assert lines[0]["run"] == 1
    assert lines[1]["do"] == steps[0].do
    assert lines[2]["verdict"] == "right"
    assert lines[4]["unclear"]
    assert lines[-1]["head"]


def test_a_changed_file_is_not_mixed_into_an_old_run(place, planned):
    enter(place, ["quit"])
    place.path.write_text(two_buttons(cables=CABLES.replace("6 m", "60 m", 1)), "utf-8")
    done = enter(place, [])
    assert done.exit_code == 2
    assert "the file has changed" in done.stderr
    assert enter(place, ["quit"], "--run", "1").exit_code == 3
    assert enter(place, ["quit"], "--new").exit_code == 3
    with place.open() as store:
        assert len(store.runs()) == 2


def test_changed_begins_a_run_of_what_a_change_asks_for(place, planned):
    assert enter(place, goods(planned[1])).exit_code == 0
    assert said(place, ["changes"]).exit_code == 0
    place.path.write_text(two_buttons(cables=CABLES.replace("6 m", "60 m", 1)), "utf-8")
    told = said(place, ["changes", "--json"])
    assert told.exit_code == 1
    answer = json.loads(told.stdout)
    assert [c["name"] for c in answer["changes"]] == ["W1"]
    assert 0 < len(answer["again"]) < len(planned[1])
    assert answer["kept"] + len(answer["again"]) == len(planned[1])
    plain = said(place, ["changes"]).output
    assert "changed: cable W1: cable-4x0.34, 6 m -> cable-4x0.34, 60 m" in plain
    done = enter(place, ["quit"], "--changed")
    assert done.exit_code == 3
    with place.open() as store:
        assert store.state_of(2).open == len(answer["again"])
        assert store.state_of(2).run.base == 1


def test_checkout_record_is_the_same_door(place, planned):
    words = ["checkout", str(place.path), "--record", "Ada", "--meter", "meter 7", *place.db]
    done = CliRunner().invoke(cli, words, input=f"{good_word(planned[1][0])}\nquit\n")
    assert done.exit_code == 3
    with place.open() as store:
        assert store.state_of(1).right == 1


@pytest.mark.parametrize(
    "words",
    [
        ["enter"],
        ["enter", "--who", "Ada", "--step", "1"],
        ["enter", "--who", "Ada", "--new", "--changed"],
        ["enter", "--who", "Ada", "--run", "7"],
        ["enter", "--who", " "],
        ["enter", "--who", "Ada", "--step", "1", "--reading", "purple", "--new"],
        ["show", "--run", "7"],
        ["export"],
        ["export", "-o", "nothing.csv"],
        ["photo", "no-such-file.jpg", "--who", "Ada"],
        ["remark", "", "--who", "Ada"],
        ["remark", "hm"],
        ["remark", "hm", "--who", "Ada", "--run", "3"],
    ],
)
def test_bad_input_ends_plainly(sqlite_place, words, planned):
    if words[0] == "show":
        with sqlite_place.open() as store:
            store.start_run(planned[0], planned[1], who="Ada")
    done = said(sqlite_place, words)
    assert done.exit_code == 2, done.output
    assert done.stderr.strip()


# -- the other commands --------------------------------------------------------------------


def test_without_records_every_command_says_so_and_makes_none(sqlite_place):
    for words in (["list"], ["show"], ["verify"]):
        done = said(sqlite_place, words)
        assert done.exit_code == 0
        assert "no records" in done.output
        assert json.loads(said(sqlite_place, [*words, "--json"]).stdout)["cell"] == "A small cell"
    assert said(sqlite_place, ["verify", "--head", "12345678"]).exit_code == 1
    assert not (sqlite_place.path.parent / ".ringout").exists()


def test_list_show_and_verify_tell_what_is_there(place, filled):
    head = filled.head()
    listed = json.loads(said(place, ["list", "--json"]).stdout)
    assert [r["state"] for r in listed["runs"]] == ["passed", "failed"]
    assert (listed["records"], listed["head"]) == (head.number, head.hash)
    shown = json.loads(said(place, ["show", "--run", "1", "--json"]).stdout)
    assert all(s["state"] == "right" for s in shown["steps"])
    shown = json.loads(said(place, ["show", "--json"]).stdout)
    assert {r["text"] for r in shown["remarks"]} == {
        "the plug of S2 is loose",
        "seen from the door side",
    }
    assert shown["photos"][0]["kind"] == "jpeg"
    done = said(place, ["verify", "--head", head.hash[:10]])
    assert done.exit_code == 0
    assert f"record {head.number}" in done.output
    assert "each as it was written" in done.output


def test_verify_leaves_with_1_when_something_was_changed(place, filled):
    from tests.records.tamper import raw

    with raw(place) as sql:
        sql.unguard()
        sql("UPDATE readings SET verdict = 'right' WHERE verdict = 'wrong'")
    done = said(place, ["verify"])
    assert done.exit_code == 1
    assert "run 2, step 1) was changed" in done.output
    assert "NOT as they were written" in done.output
    answer = json.loads(said(place, ["verify", "--json"]).stdout)
    assert [b["kind"] for b in answer["broken"]] == ["changed"]


def test_remark_and_photo_are_added_from_the_command_line(place, filled, tmp_path):
    from tests.records.conftest import PICTURE

    picture = tmp_path / "seen.jpg"
    picture.write_bytes(PICTURE + b"2")
    done = said(place, ["photo", str(picture), "--who", "Ada", "--run", "1", "--json"])
    answer = json.loads(done.stdout)
    assert (answer["name"], answer["run"], answer["size"]) == ("seen.jpg", 1, len(PICTURE) + 1)
    done = said(place, ["remark", "looks fine", "--who", "Ada", "--run", "1", "--step", "2"])
    assert done.exit_code == 0
    (tmp_path / "text.jpg").write_text("no picture")
    done = said(place, ["photo", str(tmp_path / "text.jpg"), "--who", "Ada"])
    assert done.exit_code == 2
    assert "no JPEG" in done.stderr
    assert filled.verify().holds


FORMULAS = ["=1+1", "+1", "-1+1", "@now", '=cmd|"x"!A1']


def test_the_export_is_a_table_no_spreadsheet_reckons_with(place, filled, planned, tmp_path):
    for text in FORMULAS:
        filled.add_remark(text, who=text)
    target, photos = tmp_path / "out.csv", tmp_path / "photos"
    done = said(place, ["export", "-o", str(target), "--photos", str(photos), "--json"])
    assert done.exit_code == 0, done.output
    rows = list(csv.DictReader(io.StringIO(target.read_bytes().decode("utf-8-sig"))))
    assert not [v for r in rows for v in r.values() if v[:1] in tuple("=+@\t\r")]
    assert not [r for r in rows for k, v in r.items() if v[:1] == "-" and k not in ("low", "value")]
    head = filled.head()
    assert (rows[-1]["kind"], rows[-1]["hash"]) == ("end of chain", head.hash)
    kinds = [r["kind"] for r in rows]
    steps = len(planned[1])
    assert kinds.count("reading") == steps + 1
    assert kinds.count("open step") == steps - 1
    assert kinds.count("photo") == 1
    wrong = [r for r in rows if r["verdict"] == "wrong"]
    assert [(r["run"], r["step"], r["who"], r["counts"]) for r in wrong] == [
        ("2", "1", "Ben", "yes")
    ]
    by_number = {e.number: e.hash for e in filled.since()}
    assert all(by_number[int(r["record"])] == r["hash"] for r in rows if r["record"])
    from tests.records.conftest import PICTURE

    assert [f.read_bytes() for f in photos.iterdir()] == [PICTURE]


def test_the_columns_of_the_export_stand_for_good():
    """Programs read them by place: new ones come at the end. The list is the promise of docs."""
    from ringout.records.export import COLUMNS

    assert COLUMNS[:30] == (
        "record", "kind", "cell", "run", "run_at", "run_by", "source", "file", "file_hash",
        "revision", "step", "phase", "key", "do", "expect", "low", "high", "unit", "turn",
        "counts", "text", "value", "verdict", "at", "who", "meter", "carried_from_run", "photo",
        "photo_hash", "hash",
    )  # fmt: skip


def test_an_export_that_cannot_be_written_is_told(place, filled, tmp_path):
    (tmp_path / "taken").write_text("a file")
    done = said(place, ["export", "-o", str(tmp_path / "taken" / "out.csv")])
    assert done.exit_code == 2
    assert "cannot write" in done.stderr
