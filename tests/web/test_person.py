"""A person who never saw the bench: a cell from nothing, proven, broken, the fault found, printed.

Only what stands on the page is used: menu, labels, buttons; no address is typed and no file is
touched.
"""

from __future__ import annotations

import re

import pypdfium2

from tests.web.chromium import BROWSED, LONG_MS, expect, playwright

pytestmark = BROWSED
DEVICES = (
    ("Push button, one make contact 13-14, gold plated", "start", "K1-X1"),
    ("Push button, one break contact 11-12, gold plated", "stop", "K1-X2"),
    ("Inductive proximity switch, 3-wire PNP, normally open, M12 plug", "part in place", "K1-X3"),
)


def field(place, label: str):
    """Return the field whose label begins with some words."""
    return place.get_by_label(re.compile(rf"^{re.escape(label)}")).first


def choose(place, label: str, begins: str) -> None:
    """Choose the option of a list that begins with some words."""
    texts = field(place, label).locator("option").all_inner_texts()
    (text,) = [t for t in texts if t == begins or t.startswith((f"{begins} (", f"{begins}:"))]
    field(place, label).select_option(label=text)


def menu(page, word: str) -> None:
    page.get_by_role("navigation", name="Pages").get_by_role("link", name=word, exact=True).click()


def enter(page) -> None:
    page.get_by_label("Name of the cell").fill("First cell")
    page.get_by_role("button", name="Make the cell").click()
    for device, note, place in DEVICES:
        form = page.locator("form", has=page.get_by_role("button", name="Add and connect"))
        choose(form, "Device", device)
        field(form, "What it is for").fill(note)
        choose(form, "Socket", place)
        field(form, "Length of its cable").fill("5 m")
        form.get_by_role("button").click()
        expect(page, "main").to_contain_text("Written into the file")


def see_it_proven(page) -> None:
    menu(page, "Overview")
    assert "3 works" in page.inner_text("main")
    assert "Nothing to find fault with" in page.inner_text("main")


def break_it(page) -> dict[str, float]:
    """Cut a core of the start button; return what the meter then shows against 0 V."""
    page.get_by_role("link", name="start", exact=True).click()
    page.get_by_role("link", name="Make it on").click()
    expect(page, ".result").to_contain_text(": on")
    page.get_by_role("navigation", name="Tools").get_by_role("link", name="Cut").click()
    page.get_by_role("link", name="Cut W4:BU").click()
    expect(page, ".result").to_contain_text(": off")
    readings = {}
    for red in ("S1:14", "K1-X1:4"):
        page.get_by_label("red on").fill(red)
        page.get_by_label("black on").fill("T1:-")
        page.get_by_role("button", name="Measure").click()
        page.wait_for_url(f"**probe={red},T1:-**")
        expect(page, ".display").to_contain_text("V")
        readings[red] = float(page.inner_text(".display").split()[0])
    return readings


def find_it(page, readings: dict[str, float]) -> None:
    menu(page, "Find")
    seen = page.locator("form", has=page.locator('[data-key="signal add"]'))
    choose(seen, "signal", "start")
    choose(seen, "the controller shows", "off")
    choose(seen, "while", "S1 pressed")
    seen.get_by_role("button", name="Add").click()
    culprits = page.locator(".culprits > li")
    culprits.first.wait_for(timeout=LONG_MS)
    for red, volts in readings.items():
        reading = page.locator("form", has=page.locator('[data-key="meter add"]'))
        if not reading.is_visible():
            page.get_by_text("A reading", exact=True).click()
        reading.get_by_label("red on").fill(red)
        reading.get_by_label("black on").fill("T1:-")
        reading.get_by_label("shows").fill(f"{volts:.1f}")
        choose(reading, "while", "S1 pressed")
        reading.get_by_role("button", name="Add", exact=True).click()
        expect(page, ".made").to_contain_text(red)
        playwright.expect(page.locator("[data-again]")).to_have_count(0, timeout=LONG_MS)
        culprits.first.wait_for(timeout=LONG_MS)
    # what is left is the core between the two places that were measured
    assert "Core W4:BU is open" in culprits.first.inner_text()


def print_it(page, folder) -> None:
    menu(page, "Paper")
    expect(page, "main").to_contain_text("First cell")
    page.evaluate("window.print = () => { window.printed = true; }")
    page.get_by_role("button", name="Print this list").click()
    assert page.evaluate("window.printed")
    page.pdf(path=folder / "sheet.pdf", format="A4")
    document = pypdfium2.PdfDocument(folder / "sheet.pdf")
    pages = [document[k].get_textpage() for k in range(len(document))]
    text = " ".join(p.get_text_range() for p in pages)
    for part in (*pages, document):
        part.close()
    for word in ("First cell", "K1-X1", "K1-X2", "K1-X3", "W4", "start"):
        assert word in text
    assert "Overview" not in text  # the menu stays off the paper
    with page.expect_download() as saved:
        page.get_by_role("link", name="CSV").click()
    assert "W4" in saved.value.path().read_text("utf-8-sig")


def test_from_nothing_to_a_printed_sheet(browser, serve, tmp_path):
    home, target = serve("fresh.yaml", demo=False)
    context = browser.new_context(base_url=home)
    page = context.new_page()
    complaints = []
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.goto("/")
    enter(page)
    see_it_proven(page)
    readings = break_it(page)
    assert readings["S1:14"] > 20
    assert readings["K1-X1:4"] < 1
    find_it(page, readings)
    print_it(page, tmp_path)
    assert target.read_text("utf-8").startswith("cell: First cell\n")
    assert not complaints
    context.close()
