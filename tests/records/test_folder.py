"""Several cells of one folder, and the record in the pack."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from ringout.cli.main import cli
from ringout.records import StoreError, cells_in
from tests.records.conftest import CABLES, good_word, two_buttons


def text_of(path) -> str:
    import pypdfium2

    pages = pypdfium2.PdfDocument(str(path))
    return "\n".join(page.get_textpage().get_text_range() for page in pages)


@pytest.fixture
def folder(sqlite_place, planned):
    """Return a folder with a cell that has passed, one without records, and other files."""
    cell, steps = planned
    with sqlite_place.open() as store:
        store.start_run(cell, steps, who="Ada", meter="meter 7")
        for step in steps:
            store.add_reading(1, step.number, good_word(step), who="Ada")
    place = sqlite_place.path.parent
    other = two_buttons().replace("cell: A small cell", "cell: Another\nrevision: C")
    (place / "other.yml").write_text(other, "utf-8")
    (place / "broken.yaml").write_text("cell: Broken\nitems:\n  K1: no-such-part\n", "utf-8")
    (place / "notes.yaml").write_text("just: notes\n", "utf-8")
    (place / "readme.txt").write_text("cell: no\n", "utf-8")
    (place / "folder.yaml").mkdir()
    return place


def test_each_cell_file_is_told_with_its_verdict_and_newest_run(folder):
    found = {e.path.rpartition("/")[2]: e for e in cells_in(folder)}
    assert list(found) == ["broken.yaml", "cell.yaml", "other.yml"]
    one = found["cell.yaml"]
    assert (one.name, one.runs, one.last.state, one.same_file) == (
        "A small cell",
        1,
        "passed",
        True,
    )
    assert found["other.yml"].revision == "C"
    assert found["other.yml"].last is None
    assert found["broken.yaml"].verdict == "errors"
    assert found["broken.yaml"].problems
    assert {e.verdict for e in cells_in(folder, judged=False)} == {"not asked", "errors"}


def test_a_file_that_changed_since_its_run_is_told(folder):
    (folder / "cell.yaml").write_text("# more\n" + two_buttons(), "utf-8")
    one = next(e for e in cells_in(folder, judged=False) if e.name == "A small cell")
    assert one.last is not None
    assert not one.same_file


def test_records_that_cannot_be_read_spoil_no_list(folder):
    from ringout.records import default_path

    default_path(folder / "cell.yaml").write_bytes(b"no database" * 200)
    found = cells_in(folder, judged=False)
    assert len(found) == 3
    assert all(e.trouble for e in found if e.name)


def test_the_command_lists_them(folder):
    done = CliRunner().invoke(cli, ["records", "cells", str(folder), "--not-judged", "--json"])
    assert done.exit_code == 1  # one file is broken
    cells = json.loads(done.stdout)["cells"]
    assert [c["last"]["state"] if c["last"] else None for c in cells] == [None, "passed", None]
    plain = CliRunner().invoke(cli, ["records", "cells", str(folder), "--not-judged"])
    assert "no run on record" in plain.output
    gone = CliRunner().invoke(cli, ["records", "cells", str(folder / "nowhere")])
    assert gone.exit_code == 2
    assert gone.stderr.strip()
    with pytest.raises(StoreError):
        cells_in(folder / "nowhere")


def test_cells_of_one_server_are_told_too(server_place, planned):
    with server_place.open() as store:
        store.start_run(planned[0], planned[1], who="Ada")
    found = cells_in(server_place.path.parent, server_place.url, judged=False)
    assert [(e.name, e.last.open) for e in found] == [("A small cell", len(planned[1]))]


# -- the pack ------------------------------------------------------------------------------


def pack(place, target, *words):
    every = ["pack", str(place.path), "-o", str(target), "--only", "checkout", *words, *place.db]
    return CliRunner().invoke(cli, every)


def test_the_pack_shows_the_record(place, filled, planned, tmp_path):
    target = tmp_path / "pack.pdf"
    done = pack(place, target)
    assert target.exists(), done.output
    text = text_of(target)
    flat = " ".join(text.split())
    head = filled.head()
    groups = [head.hash[k : k + 8] for k in range(0, 64, 8)]
    assert " ".join(groups) in flat
    assert f"Record {head.number} has the hash" in flat
    assert "Run 2: FAILED" in flat
    assert f"0 steps right, 1 wrong, {len(planned[1]) - 1} open." in flat
    assert "by Ben" in flat
    assert planned[0].files[0][1][:12] in flat
    for words in ("the plug of S2 is loose", "plug.jpg", "WRONG", "OPEN"):
        assert words in flat
    # and what is printed is what is asked for later
    assert filled.verify(" ".join(groups[:2])).found_at == head.number


def test_the_pack_names_meter_and_person_of_a_passed_run(place, planned, tmp_path):
    cell, steps = planned
    with place.open() as store:
        store.start_run(cell, steps, who="Ada", meter="meter 7")
        for step in steps:
            store.add_reading(1, step.number, good_word(step), who="Ada")
    assert pack(place, tmp_path / "pack.pdf").exit_code in (0, 1)
    flat = " ".join(text_of(tmp_path / "pack.pdf").split())
    counts = f"{len(steps)} steps right, 0 wrong, 0 open."
    for words in ("Run 1: PASSED", "meter 7", "Ada", counts):
        assert words in flat
    assert "The file has changed since" not in flat
    place.path.write_text(two_buttons(cables=CABLES.replace("6 m", "60 m", 1)), "utf-8")
    pack(place, tmp_path / "later.pdf")
    assert "The file has changed since" in " ".join(text_of(tmp_path / "later.pdf").split())


def test_a_pack_without_records_has_no_such_section_and_makes_none(sqlite_place, tmp_path):
    pack(sqlite_place, tmp_path / "pack.pdf")
    assert "End of the chain" not in text_of(tmp_path / "pack.pdf")
    assert not (sqlite_place.path.parent / ".ringout").exists()


def test_records_that_cannot_be_read_are_named_in_the_pack(sqlite_place, tmp_path):
    from ringout.records import default_path

    file = default_path(sqlite_place.path)
    file.parent.mkdir()
    file.write_bytes(b"no database" * 200)
    done = pack(sqlite_place, tmp_path / "pack.pdf")
    assert done.exit_code in (1, 3)
    assert "no record: " in done.stderr
    flat = " ".join(text_of(tmp_path / "pack.pdf").split())
    assert "no database of records" in flat
