"""Overview, circuits and sockets: what they show is what is reckoned, and links lead on."""

from __future__ import annotations

import re
from urllib.parse import unquote_plus

import pytest

from ringout import run
from tests.web.conftest import DEMO, client_of, text_of

SIGNAL = "/circuit/start_lidding"


def api(client, query):
    answer = client.get(f"/api{SIGNAL}", params=query)
    assert answer.status_code == 200
    return answer.json()


def shown(found, name):
    return next(s for s in found["shown"] if s["name"] == name)


def test_overview_says_what_prove_says(still):
    _, judgement = run.prove(str(DEMO), remedies=False)
    text = text_of(still.get("/"))
    for signal in judgement.signals:
        assert f"{signal.name} {signal.channel}" in text
        if signal.on is not None:
            assert f"on: {signal.on.v_low:.1f} to {signal.on.v_high:.1f} V" in text
    for branch in judgement.branches:
        assert f"{branch.name} {branch.rest_a:.2f} A {branch.high_a:.2f} A" in text
    for finding in judgement.findings:
        assert " ".join(finding.message.split()) in text
    assert f"{len(judgement.signals)} works" in text


def test_overview_of_a_bad_cell_shows_weight_line_and_cure(tmp_path):
    target = tmp_path / "cell.yaml"
    lines = DEMO.read_text("utf-8").replace(
        "B1: {part: inductive-pnp-no", "B1: {part: inductive-npn-no"
    )
    target.write_text(lines, encoding="utf-8")
    with client_of(target) as client:
        text = text_of(client.get("/"))
        assert "✗ error" in text
        assert re.search(r"✗ 1 fails", text)
        session = client.app.app.state.session
        assert session.now().cures.wait(120)  # they are solved beside
        again = client.get("/").text
    assert "proven cure" in again
    assert "Cures are being solved" not in again
    assert 'href="/file?line=' in again


def test_a_part_of_a_page_is_the_page_without_its_frame(still):
    whole = still.get(SIGNAL).text
    part = still.get(SIGNAL, headers={"X-Bench-Part": "main"}).text
    assert "<!doctype" in whole
    assert "<!doctype" not in part
    begin, end = whole.index("<main"), whole.index("</main>")
    assert whole[begin:end].split() == part[part.index("<main") : part.index("</main>")].split()


def test_pressing_the_button_switches_the_input(still):
    assert shown(api(still, {}), "start_lidding")["word"] == "off"
    on = api(still, {"while": "S1 pressed"})
    assert shown(on, "start_lidding")["word"] == "on"
    # the panel's inputs draw about 9 mA at 24 V through 2.7 kOhm and a constant current part
    assert on["stands"]["S1"] == "pressed"


def test_the_meter_agrees_with_the_command(still):
    cell = run.load(str(DEMO)).cell
    from ringout.cell.ask import resolve_probe

    for words in (("K1-X1:4", "K1-X1:3"), ("T1:+", "T1:-"), ("K1-X1:4", "T1:-")):
        places = [resolve_probe(cell, w, ())[0] for w in words]
        for mode in ("volts", "lowz"):
            for state in ({}, {"S1": "pressed"}):
                wanted = run.meter(cell, *places, state=state, mode=mode)
                query = {"probe": ",".join(words), "mode": mode}
                query["while"] = " and ".join(f"{a} {p}" for a, p in state.items())
                got = api(still, query)["meter"]
                assert got["value"] == pytest.approx(wanted.value, abs=2e-3)


def test_ohms_agree_with_the_command_both_ways(still):
    cell = run.load(str(DEMO)).cell
    from ringout.cell.ask import resolve_probe

    places = [resolve_probe(cell, w, ())[0] for w in ("K1-X1:1", "S1:13")]
    wanted = run.meter(cell, *places, mode="ohms")
    got = api(still, {"probe": "K1-X1:1,S1:13", "mode": "ohms"})["meter"]
    # 6 m of 0.34 mm2 copper: 0.0175 ohm mm2/m gives 0.31 ohm one way
    assert got["value"] == pytest.approx(0.0175 * 6 / 0.34, rel=0.25)
    assert got["value"] == pytest.approx(wanted.value, rel=1e-3)


def test_a_lifted_core_end_can_be_probed(still):
    query = {"lift": "W1:BK@K1", "probe": "W1:BK@K1,K1-X1:3", "while": "S1 pressed"}
    found = api(still, query)
    assert shown(found, "start_lidding")["word"] == "off"  # nothing lands on the input any more
    assert found["meter"]["value"] > 20  # the button still sends its voltage to the loose end


def test_cut_opens_and_taking_it_back_heals(still):
    cut = api(still, {"while": "S1 pressed", "cut": "W1:BK"})
    assert shown(cut, "start_lidding")["word"] == "off"
    page = still.get(SIGNAL, params={"while": "S1 pressed", "cut": "W1:BK"})
    assert "W1:BK is cut through." in text_of(page)
    back = re.search(
        r'W1:BK is cut through\.</span> <span class="row"><a [^>]*href="([^"]+)"', page.text
    )[1]
    assert unquote_plus(back) == f"{SIGNAL}?while=S1 pressed"


def test_bridge_switches_the_input_without_the_button(still):
    found = api(still, {"bridge": "K1-X1:1,K1-X1:4"})
    assert shown(found, "start_lidding")["word"] == "on"


def test_a_dead_short_opens_the_branch(still):
    found = api(still, {"bridge": "K1-X1:1,K1-X1:3", "probe": "K1-X1:1,K1-X1:3"})
    assert found["opened"] == ["F1.branch1"]
    assert found["meter"]["value"] == pytest.approx(0, abs=0.05)
    text = text_of(still.get(SIGNAL, params={"bridge": "K1-X1:1,K1-X1:3"}))
    assert "F1.branch1 has opened" in text


def test_swapped_cores_do_what_the_fault_of_that_name_does(still):
    mine = api(still, {"swap": "W1:BN,W1:BK@S1", "while": "S1 pressed"})
    known = api(still, {"fault": "swap W1:BN W1:BK@S1", "while": "S1 pressed"})
    assert not mine["problems"]
    assert not known["problems"]
    assert mine["shown"] == known["shown"]


def test_another_part_behaves_as_that_part(still):
    found = api(still, {"part": "B1,inductive-npn-no", "while": "B1 target"})
    assert not found["problems"]
    assert shown(found, "caddy_at_stop")["word"] == "off"  # sinks where the input wants a source
    assert shown(api(still, {"while": "B1 target"}), "caddy_at_stop")["word"] == "on"


def test_parts_offered_fit(still):
    page = still.get(SIGNAL, params={"tool": "part", "first": "S1"}).text
    words = {unquote_plus(w) for w in re.findall(r"part=(S1,[a-z0-9-]+)", page)}
    assert len(words) >= 2
    for word in words:
        assert not api(still, {"part": word})["problems"], word


def test_supply_off_leaves_nothing_on(still):
    found = api(still, {"while": "T1 off and S1 pressed"})
    assert {s["mark"] for s in found["shown"]} == {"off"}


def test_several_changes_at_once(still):
    query = {"cut": "W1:BK", "bridge": "K1-X1:1,K1-X1:4", "while": "S1 pressed"}
    found = api(still, query)
    assert [c["kind"] for c in found["changes"]] == ["cuts", "bridges"]
    assert shown(found, "start_lidding")["word"] == "on"


def test_changes_that_meddle_are_told_not_lost(still):
    found = api(still, {"cut": "W1:BK", "fault": "open W1:BK@S1"})
    assert len(found["problems"]) == 1
    assert "take that away first" in found["problems"][0]


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"while": "S1 presed"}, "presed"),
        ({"while": "S1 pressed or S1 released"}, "or"),
        ({"cut": "W99:BN"}, "no such conductor"),
        ({"fault": "open W1:BN@S2"}, "did you mean"),
        ({"bridge": "K1-X1:1"}, "two ends"),
        ({"bridge": "K1-X1:1,K1-X2:1"}, "one net already"),
        ({"swap": "W1:BN,W1:BK@Q1"}, "where both land"),
        ({"part": "S1,no-such-part"}, "names no item and part"),
        ({"part": "S1,pushbutton-1nc"}, "no terminal"),
        ({"lift": "W1:BN@Q1"}, "core end"),
        ({"probe": "K1-X1:9,T1:-"}, "pin"),
        ({"mode": "smoke", "tool": "hammer"}, ""),
    ],
)
def test_what_cannot_be_understood_is_told(still, query, words):
    page = still.get(SIGNAL, params=query)
    assert page.status_code == 200
    assert words in text_of(page)


def test_probes_from_the_form_get_one_address(still):
    sent = {"while": "S1 pressed", "red": "K1-X1:4", "black": "K1-X1:3"}
    answer = still.get(SIGNAL, params=sent)
    assert answer.status_code == 303
    assert answer.headers["location"] == (f"{SIGNAL}?while=S1+pressed&probe=K1-X1:4,K1-X1:3")


def test_every_link_of_every_circuit_leads_somewhere(still):
    """Every link that one step away stands on a page is a page again, with no complaint."""
    start = still.get(f"{SIGNAL}?tool=cut").text
    links = set(re.findall(r'href="(/circuit/start_lidding[^"]*)"', start))
    assert len(links) > 30
    for link in sorted(links)[:60]:
        from html import unescape

        answer = still.get(unescape(link))
        assert answer.status_code == 200, link
        assert 'class="trouble"' not in answer.text, link


@pytest.mark.parametrize("tool", ["probe", "cut", "lift", "bridge", "swap", "part"])
def test_every_tool_has_something_to_click(still, tool):
    page = still.get(SIGNAL, params={"tool": tool}).text
    spots = re.findall(r'class="spot ([a-z]+)', page)
    wanted = {"probe": "pin", "lift": "pin", "bridge": "pin", "cut": "core", "swap": "core",
              "part": "item"}[tool]  # fmt: skip
    assert spots.count(wanted) >= 2
    for label in re.findall(r'class="spot [^>]*aria-label="([^"]*)"', page):
        assert label


def test_clicking_two_pins_places_the_probes(still):
    one = still.get(SIGNAL)
    first = re.search(
        r'<a href="([^"]+)" class="spot pin"[^>]*aria-label="Red probe on K1-X1:4"', one.text
    )
    two = still.get(first[1].replace("&amp;", "&"))
    second = re.search(
        r'<a href="([^"]+)" class="spot pin"[^>]*aria-label="Black probe on K1-X1:3"', two.text
    )
    assert unquote_plus(second[1]).endswith("probe=K1-X1:4,K1-X1:3")


def test_every_signal_of_the_cell_can_be_drawn(still):
    cell = run.load(str(DEMO)).cell
    for name in cell.signals:
        answer = still.get(f"/circuit/{name}")
        assert answer.status_code == 200
        assert "<svg" in answer.text
        assert 'class="spot pin' in answer.text


def test_an_unknown_signal_is_told(still):
    assert still.get("/circuit/nothing").status_code == 404
    assert still.get("/api/circuit/nothing").status_code == 404


def test_sockets_show_who_is_where(still):
    cell = run.load(str(DEMO)).cell
    found = still.get("/api/sockets").json()
    at = {s["place"]: {p["pin"]: p for p in s["pins"]} for s in found["sockets"]}
    for join in cell.joins:
        for here, there in ((join.a, join.b), (join.b, join.a)):
            if here.socket:
                assert str(there) in at[f"{here.item}-{here.socket}"][here.pin]["far"]
    taken = {s.channel_name for s in cell.signals.values()}
    free = {c["name"] for c in found["free_channels"]}
    every = {f"{i.name}.{c}" for i in cell.items.values() for c in i.part.channels}
    assert free == every - taken


def test_a_standard_sensor_reaches_the_channel_behind_pin_4(still):
    # on this panel pin 4 carries the first of each pair of channels: X4 has I4 and I12
    page = text_of(still.get("/sockets"))
    assert "A standard sensor plugged in here: pin 4 reaches K1.I4, pin 2 reaches K1.I12" in page
    assert "No place for a sensor: pin 4 is the output" in page


@pytest.mark.parametrize("show", ["hosts", "devices", "clamps", "free", "nonsense"])
@pytest.mark.parametrize("side", ["mating", "wiring", "inside"])
def test_sockets_from_every_side(still, show, side):
    answer = still.get("/sockets", params={"show": show, "side": side})
    assert answer.status_code == 200


def test_an_unreadable_cell_still_has_pages(tmp_path):
    target = tmp_path / "cell.yaml"
    target.write_text("cell: [", encoding="utf-8")
    with client_of(target) as client:
        for page in ("/", "/circuit", "/sockets", "/file", "/add", "/api/overview", "/api/sockets"):
            assert client.get(page).status_code == 200, page
        assert client.get(SIGNAL).status_code == 404
        assert "error" in client.get("/file").text


def test_the_file_is_read_anew_when_it_changes(bench, cell_file):
    assert "Caddy lidder" in bench.get("/").text
    text = cell_file.read_text("utf-8").replace("Caddy lidder", "Another name")
    cell_file.write_text(text, encoding="utf-8")
    assert "Another name" in bench.get("/").text


def test_a_loose_end_is_offered_to_the_probe(still):
    page = still.get(SIGNAL, params={"lift": "W1:BK@K1", "while": "S1 pressed", "tool": "lift"})
    found = re.search(r'href="([^"]+)">Red probe</a>', page.text)
    assert unquote_plus(found[1]).endswith("lift=W1:BK@K1&amp;probe=W1:BK@K1,")


def test_a_swap_can_be_made_at_the_other_end(still):
    page = still.get(SIGNAL, params={"swap": "W1:BN,W1:BK@K1"})
    found = re.search(r'href="([^"]+)">At S1</a>', page.text)
    assert unquote_plus(found[1]) == f"{SIGNAL}?swap=W1:BN,W1:BK@S1"


def test_what_was_solved_is_kept_but_not_for_ever():
    from ringout.web.snapshot import Shelf

    shelf, made = Shelf(3), []
    for key in (1, 2, 3, 1, 4, 1, 2):
        shelf.get(key, lambda key=key: made.append(key) or key)
    assert made == [1, 2, 3, 4, 2]  # 2 was the one not asked for longest when 4 came
    assert len(shelf._kept) == 3


def test_cures_of_a_file_that_has_changed_are_not_sought_on(bench, cell_file):
    cell_file.write_bytes((DEMO.parent / "first-drawing.yaml").read_bytes())  # cures take seconds
    bench.get("/")
    session = bench.app.app.state.session
    first = session.now()
    cell_file.write_text(cell_file.read_text("utf-8") + "# changed\n", encoding="utf-8")
    bench.get("/")
    assert session.now() is not first
    assert not first.cures.wait(60)
    assert first.cures.failed == "the file has changed meanwhile"


def test_every_line_of_the_menu_leads_to_a_page(still):
    from ringout.web.pages.menu import MENU

    for path, word in MENU:
        answer = still.get(path)
        assert answer.status_code == 200, path
        assert f'<a href="{path}" aria-current="page">{word}</a>' in answer.text


def test_the_first_page_loads_no_other(tmp_path):
    """It is there two seconds after the command, so the rest is loaded when it is asked for."""
    import subprocess
    import sys

    code = (
        "import sys; from starlette.testclient import TestClient\n"
        "from ringout.web import create_app\n"
        f"c = TestClient(create_app({str(DEMO)!r}), base_url='http://127.0.0.1')\n"
        "assert '19 works' in c.get('/').text\n"
        "print(*(m for m in sys.modules if m.split('.')[0] in ('ringout', 'fastapi', 'segno')))\n"
        "c.get('/circuit'); print('ringout.web.pages.checkout' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    first, late = done.stdout.splitlines()
    assert not {"fastapi", "segno", "ringout.web.pages.checkout", "ringout.checkout",
                "ringout.find"} & set(first.split())  # fmt: skip
    assert "ringout.web.pages.overview" in first
    assert late == "True"
