"""Faults, checkout, search, paper and exercise in a real browser: keyboard, no script, widths."""

from __future__ import annotations

import re
import shutil
import threading
import time
import urllib.request
from pathlib import Path

import pytest

from tests.web.chromium import (
    AXE,
    BROWSED,
    LONG_MS,
    expect,
    go,
    press_to,
    settle,
    start_bench,
)
from tests.web.conftest import DEMO

pytestmark = BROWSED
SEEN = "start_lidding+off+while+S1+pressed"
PAGES = (
    "/faults", "/faults?effect=harm", "/faults/off%20W2:BK@K1%20at%20K1-X2:3?step=yes",
    "/checkout", "/checkout/1", "/checkout/57", f"/find?seen={SEEN}", "/find", "/paper",
    "/paper?what=cut_list", "/paper?what=io", "/paper?what=faces", "/paper?what=drawings",
    "/paper?what=pack", "/live", "/exercise",
)  # fmt: skip


def test_faults_are_narrowed_and_followed_by_keyboard(page):
    go(page, "/faults")
    press_to(page, "effect can damage")
    page.keyboard.press("Enter")
    page.wait_for_url("**/faults?effect=harm")
    count = page.inner_text(".result")
    press_to(page, "narrow item")
    page.keyboard.type("S2")
    page.wait_for_url("**item=S2**")
    expect(page, ".result").not_to_have_text(count)
    page.keyboard.press("Escape")
    page.click(".faults a >> nth=0")
    page.wait_for_selector("#h-changes")
    page.click(".links a >> nth=0")
    page.wait_for_url("**/circuit/**fault=**")
    assert "Changed against the file" in page.inner_text("main")


def good_reading(page, number: int) -> str:
    """Return what a sound cell shows at a step, in the unit the step reads."""
    step = page.request.get("/api/checkout").json()["steps"][number - 1]
    low, high = step["low"] or 0.0, step["high"]
    return "open" if high is None else f"{(low + high) / 2:.3f}"


def test_a_checkout_is_worked_through_by_keyboard(page):
    go(page, "/checkout")
    press_to(page, "go")
    page.keyboard.press("Enter")
    page.wait_for_url("**/checkout/1")
    assert page.evaluate("document.activeElement.name") == "reading"
    say_who(page, "Ada")
    page.focus("[name=reading]")
    page.keyboard.type(good_reading(page, 1))
    page.keyboard.press("Enter")
    page.wait_for_url("**/checkout/2")
    press_to(page, "open")
    page.keyboard.press("Enter")
    page.wait_for_selector(".outcome.fails")
    assert page.url.endswith("/checkout/2")
    page.reload()
    assert "Failed: open" in page.inner_text(".outcome")
    press_to(page, "find")
    page.keyboard.press("Enter")
    page.wait_for_url("**/find?seen=**")
    settle(page)
    expect(page, ".culprits").to_be_visible()


def say_who(tab, name: str) -> None:
    """Give a name with the first reading."""
    tab.fill(".answer [name=who]", name)


def test_a_run_goes_on_after_the_server_was_killed(browser, tmp_path):
    """Nothing is lost by a kill in the moment after an answer: what was said is on the disk."""
    target = tmp_path / "cell.yaml"
    shutil.copy(DEMO, target)
    process, where = start_bench(target)
    with browser.new_context(base_url=where) as context:
        tab = context.new_page()
        go(tab, "/checkout/1")
        say_who(tab, "Ada")
        tab.fill("[name=reading]", good_reading(tab, 1))
        tab.click("[data-key=enter]")
        tab.wait_for_url("**/checkout/2")
        process.kill()
    process.wait(10)
    process, where = start_bench(target)
    try:
        with browser.new_context(base_url=where) as context:
            tab = context.new_page()
            go(tab, "/checkout")
            assert "1 of" in tab.inner_text(".result")
            assert "Ada" in tab.inner_text("main")
    finally:
        process.kill()
        process.wait(10)


def test_two_people_see_each_others_steps(browser, serve):
    """Two browsers on one checkout: each sees what the other enters, and loses nothing it types."""
    where, _ = serve("cell.yaml", demo=True)
    with browser.new_context(base_url=where) as one, browser.new_context(base_url=where) as two:
        ada, ben, list_ = one.new_page(), two.new_page(), two.new_page()
        go(ada, "/checkout/1")
        go(ben, "/checkout/1")
        go(list_, "/checkout")
        say_who(ben, "Ben")
        ben.fill("[name=reading]", "0.")
        say_who(ada, "Ada")
        ada.fill("[name=reading]", good_reading(ada, 1))
        ada.click("[data-key=enter]")
        ada.wait_for_url("**/checkout/2")
        expect(ben, ".outcome").to_contain_text("Ada", timeout=LONG_MS)
        expect(list_, ".steps li >> nth=0").to_contain_text("Ada", timeout=LONG_MS)
        expect(list_, ".result").to_contain_text("1 of", timeout=LONG_MS)
        assert ben.input_value("[name=reading]") == "0."
        assert ben.input_value(".answer [name=who]") == "Ben"
        ben.fill("[name=reading]", "open")
        ben.click("[data-key=enter]")
        ben.wait_for_selector(".outcome.fails")
        expect(ben, ".outcome").to_contain_text("Two people did not see the same")
        go(ada, "/checkout/2")  # the name is remembered
        assert ada.locator(".answer [name=who]").count() == 0
        assert "Ada" in ada.inner_text(".person summary")


def test_the_culprit_is_found_by_picking_with_the_keyboard(page):
    page.goto("/find")
    press_to(page, "signal shown")
    page.keyboard.type("off")
    press_to(page, "signal while")
    page.keyboard.type("S1 pressed")
    press_to(page, "signal add")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/find?seen={SEEN}")
    settle(page)
    expect(page, "#h-next").to_be_visible()
    before = page.locator(".culprits li").count()
    press_to(page, "next reading")
    page.keyboard.type("0.0")
    page.keyboard.press("Enter")
    page.wait_for_url("**seen=**seen=**")
    settle(page)
    assert page.locator(".culprits li").count() != before or page.locator(".made li").count() == 2


def test_an_exercise_is_done_by_keyboard(page):
    page.goto("/exercise")
    press_to(page, "seed")
    page.keyboard.type("keys")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-key=measure]", timeout=LONG_MS)
    press_to(page, "red")
    page.keyboard.type("T1:+")
    press_to(page, "black")
    page.keyboard.type("T1:-")
    page.keyboard.press("Enter")
    page.wait_for_selector(".taken .display")
    assert page.inner_text(".taken .display").endswith("V")
    clock = page.inner_text("[data-clock]")
    expect(page, "[data-clock]").not_to_have_text(clock)
    press_to(page, "give up")
    page.keyboard.press("Enter")
    page.wait_for_selector(".outcome")
    settle(page)
    expect(page, ".outcome").to_contain_text("Given up")


def test_pins_of_the_sound_drawing_take_the_probes(page):
    page.goto("/exercise")
    page.click("[data-key=hide]")
    page.wait_for_selector("a.spot.pin", timeout=LONG_MS)
    page.locator("a.spot.pin").nth(0).click(force=True)
    page.wait_for_url("**red=**")
    page.locator("a.spot.pin").nth(3).click(force=True)
    page.wait_for_url("**black=**")
    page.click("[data-key=measure]")
    page.wait_for_selector(".taken .display")


def test_the_pack_is_made_and_comes_as_a_file(page):
    pytest.importorskip("typst")
    page.goto("/paper?what=pack")
    page.select_option("[data-key=part]", "labels")
    page.click("[data-key=make]")
    page.wait_for_selector("[data-key=pdf]", timeout=LONG_MS)
    with page.expect_download() as waiting:
        page.click("[data-key=pdf]")
    assert Path(waiting.value.path()).read_bytes().startswith(b"%PDF-")


def test_a_sheet_prints_without_the_bench_around_it(page):
    page.goto("/paper")
    page.emulate_media(media="print")
    expect(page, ".top").to_be_hidden()
    expect(page, ".files").to_be_hidden()
    expect(page, ".cores >> nth=0").to_be_visible()
    assert len(page.pdf()) > 20_000


def test_everything_works_without_script(browser, home):
    context = browser.new_context(base_url=home, java_script_enabled=False)
    tab = context.new_page()
    tab.goto("/checkout")
    tab.wait_for_selector("[data-key=go]", timeout=LONG_MS)  # it has asked again by itself
    tab.goto("/checkout/3")
    say_who(tab, "Ada")
    tab.fill("[name=reading]", "99")
    tab.click("[data-key=enter]")
    tab.wait_for_selector(".outcome.fails")
    tab.click("[data-key=find]")
    tab.wait_for_selector(".culprits", timeout=LONG_MS)
    tab.goto("/faults")
    tab.select_option("[data-key='narrow item']", "S2")
    tab.click("[data-key=narrow]")
    tab.wait_for_url("**item=S2**")
    tab.goto("/exercise")
    tab.click("[data-key=hide]")
    tab.wait_for_selector("[data-key=look]", timeout=LONG_MS)
    tab.click("[data-key=look]")
    tab.wait_for_selector(".glanced")
    context.close()


@pytest.mark.parametrize("width", [1440, 1024, 390])
def test_no_page_is_wider_than_the_screen(browser, home, width):
    context = browser.new_context(base_url=home, viewport={"width": width, "height": 900})
    tab = context.new_page()
    for path in PAGES:
        go(tab, path)
        assert tab.evaluate("document.documentElement.scrollWidth") <= width, path
    context.close()


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed")
@pytest.mark.parametrize("width", [1440, 390])
def test_axe_finds_nothing_serious_here(browser, home, width):
    context = browser.new_context(
        base_url=home, viewport={"width": width, "height": 900}, bypass_csp=True
    )
    tab = context.new_page()
    for path in (*PAGES, "exercise"):
        if path == "exercise":
            tab.goto("/exercise")
            tab.click("[data-key=hide]")
            tab.wait_for_selector("[data-key=look]", timeout=LONG_MS)
            tab.click("[data-key=look]")
            tab.wait_for_selector(".glanced")
        else:
            go(tab, path)
        tab.add_script_tag(path=str(AXE))
        found = tab.evaluate("axe.run(document, {resultTypes: ['violations']})")
        grave = [
            (v["id"], [n["target"] for n in v["nodes"]][:3])
            for v in found["violations"]
            if v["impact"] in ("serious", "critical")
        ]
        assert not grave, path
    context.close()


def test_ten_at_once_are_all_served_and_one_process_reckons(serve):
    where, _ = serve("cell.yaml", demo=True)
    times: list[float] = []

    def ask() -> None:
        begin = time.monotonic()
        with urllib.request.urlopen(f"{where}/checkout", timeout=30) as answer:
            assert answer.status == 200
        times.append(time.monotonic() - begin)

    threads = [threading.Thread(target=ask) for _ in range(10)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert len(times) == 10
    assert max(times) < 10.0
    listed = [p for p in Path("/proc").glob("[0-9]*/cmdline") if _reckons(p)]
    ours = [p for p in listed if _parent_serves(p, where)]
    assert len(ours) == 1


def _reckons(cmdline: Path) -> bool:
    try:
        return b"ringout.web.worker" in cmdline.read_bytes()
    except OSError:
        return False


def _parent_serves(cmdline: Path, where: str) -> bool:
    status = (cmdline.parent / "status").read_text()
    parent = re.search(r"PPid:\s+(\d+)", status)[1]
    words = Path(f"/proc/{parent}/cmdline").read_bytes()
    return where.rpartition(":")[2].encode() in words
