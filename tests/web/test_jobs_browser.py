"""Faults, checkout, search, paper and exercise in a real browser: keyboard, no script, widths."""

from __future__ import annotations

import re
import threading
import time
import urllib.request
from pathlib import Path

import pytest

from tests.web.test_browser import (  # noqa: F401  # fixtures
    AXE,
    CHROMIUM,
    browser,
    expect,
    home,
    page,
    playwright,
    press_to,
    serve,
)

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium on this machine"),
]
LONG_MS = 120_000
SEEN = "start_lidding+off+while+S1+pressed"
PAGES = (
    "/faults", "/faults?effect=harm", "/faults/off%20W2:BK@K1%20at%20K1-X2:3?step=yes",
    "/checkout", "/checkout/1", "/checkout/57", f"/find?seen={SEEN}", "/find", "/paper",
    "/paper?what=cut_list", "/paper?what=io", "/paper?what=faces", "/paper?what=drawings",
    "/paper?what=pack", "/exercise",
)  # fmt: skip


def settle(page) -> None:  # noqa: F811
    """Wait until nothing is being worked out any more."""
    playwright.expect(page.locator("[data-again]")).to_have_count(0, timeout=LONG_MS)


def go(page, path: str) -> None:  # noqa: F811
    page.goto(path)
    settle(page)


def test_faults_are_narrowed_and_followed_by_keyboard(page):  # noqa: F811
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


def good_reading(page, number: int) -> str:  # noqa: F811
    """Return what a sound cell shows at a step, in the unit the step reads."""
    step = page.request.get("/api/checkout").json()["steps"][number - 1]
    low, high = step["low"] or 0.0, step["high"]
    return "open" if high is None else f"{(low + high) / 2:.3f}"


def test_a_checkout_is_worked_through_by_keyboard(page):  # noqa: F811
    go(page, "/checkout")
    press_to(page, "go")
    page.keyboard.press("Enter")
    page.wait_for_url("**/checkout/1")
    assert page.evaluate("document.activeElement.name") == "reading"
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


def test_a_run_goes_on_after_the_server_was_killed(serve, browser):  # noqa: F811
    first, file = serve("cell.yaml", demo=True)
    context = browser.new_context(base_url=first)
    tab = context.new_page()
    go(tab, "/checkout/1")
    tab.fill("[name=reading]", good_reading(tab, 1))
    tab.click("[data-key=enter]")
    tab.wait_for_url("**/checkout/2")
    context.close()
    kept = list((Path(file).parent / ".ringout").glob("checkout-*.json"))
    assert len(kept) == 1
    again = _second(file)
    try:
        context = browser.new_context(base_url=again[0])
        tab = context.new_page()
        go(tab, "/checkout")
        assert "1 of" in tab.inner_text(".result")
        context.close()
    finally:
        again[1]()


def _second(file):
    """Serve the same file by another process."""
    import subprocess
    import sys

    from tests.web.test_browser import free_port

    port = free_port()
    code = "import sys; from ringout.cli.serve import serve; serve(sys.argv[1:])"
    words = [sys.executable, "-c", code, str(file), "--port", str(port), "--no-open"]
    process = subprocess.Popen(words, stderr=subprocess.DEVNULL)
    where = f"http://127.0.0.1:{port}"
    for _ in range(150):
        try:
            with urllib.request.urlopen(f"{where}/api/session", timeout=1):
                break
        except OSError:
            time.sleep(0.1)

    def stop() -> None:
        process.kill()
        process.wait(10)

    return where, stop


def test_the_culprit_is_found_by_picking_with_the_keyboard(page):  # noqa: F811
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


def test_an_exercise_is_done_by_keyboard(page):  # noqa: F811
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


def test_pins_of_the_sound_drawing_take_the_probes(page):  # noqa: F811
    page.goto("/exercise")
    page.click("[data-key=hide]")
    page.wait_for_selector("a.spot.pin", timeout=LONG_MS)
    page.locator("a.spot.pin").nth(0).click(force=True)
    page.wait_for_url("**red=**")
    page.locator("a.spot.pin").nth(3).click(force=True)
    page.wait_for_url("**black=**")
    page.click("[data-key=measure]")
    page.wait_for_selector(".taken .display")


def test_the_pack_is_made_and_comes_as_a_file(page):  # noqa: F811
    pytest.importorskip("typst")
    page.goto("/paper?what=pack")
    page.select_option("[data-key=part]", "labels")
    page.click("[data-key=make]")
    page.wait_for_selector("[data-key=pdf]", timeout=LONG_MS)
    with page.expect_download() as waiting:
        page.click("[data-key=pdf]")
    assert Path(waiting.value.path()).read_bytes().startswith(b"%PDF-")


def test_a_sheet_prints_without_the_bench_around_it(page):  # noqa: F811
    page.goto("/paper")
    page.emulate_media(media="print")
    expect(page, ".top").to_be_hidden()
    expect(page, ".files").to_be_hidden()
    expect(page, ".cores >> nth=0").to_be_visible()
    assert len(page.pdf()) > 20_000


def test_everything_works_without_script(browser, home):  # noqa: F811
    context = browser.new_context(base_url=home, java_script_enabled=False)
    tab = context.new_page()
    tab.goto("/checkout")
    tab.wait_for_selector("[data-key=go]", timeout=LONG_MS)  # it has asked again by itself
    tab.goto("/checkout/3")
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
def test_no_page_is_wider_than_the_screen(browser, home, width):  # noqa: F811
    context = browser.new_context(base_url=home, viewport={"width": width, "height": 900})
    tab = context.new_page()
    for path in PAGES:
        go(tab, path)
        assert tab.evaluate("document.documentElement.scrollWidth") <= width, path
    context.close()


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed")
@pytest.mark.parametrize("width", [1440, 390])
def test_axe_finds_nothing_serious_here(browser, home, width):  # noqa: F811
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


def test_ten_at_once_are_all_served_and_one_process_reckons(serve):  # noqa: F811
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
