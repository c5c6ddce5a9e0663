"""The live page in a real browser, against a stand-in over real Modbus TCP."""

from __future__ import annotations

import re
import threading
import time

import pytest

from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import single_faults
from ringout.live.enter import KINDS, drawn_by_lot
from ringout.web import create_app
from ringout.web.doors import Keys
from ringout.web.pages.live import post_of
from tests.web.chromium import AXE, BROWSED, LONG_MS, expect, free_port, playwright
from tests.web.conftest import until

pytestmark = BROWSED
ASKED = re.compile(r"\d+/\d+ Put (\S+)(?: \(.*\))? to: (\S+)")
GONE_S = 3.0  # far less than a stream lasts by itself


class Near:
    """A bench in this process, so that a test can look behind the page.

    Args:
        path: the cell file.
    """

    def __init__(self, path) -> None:
        import uvicorn

        port = free_port()
        app = create_app(str(path), port=port, keys=Keys())
        self.home = f"http://127.0.0.1:{port}"
        self.session = app.app.state.session
        self.server = uvicorn.Server(
            uvicorn.Config(app, port=port, log_level="critical", timeout_graceful_shutdown=1)
        )
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        until(lambda: self.server.started)

    @property
    def watching(self):
        return post_of(self.session).watching

    def close(self) -> None:
        post_of(self.session).put(None)
        self.server.should_exit = True
        self.thread.join(10)
        self.session.reckoner.close()


@pytest.fixture
def near(cell_file):
    made = Near(cell_file)
    yield made
    made.close()


@pytest.fixture
def home(near):
    """Let the pages of this module look at the bench that is near."""
    return near.home


def begin(page, near, key: str) -> None:
    page.goto("/live")
    page.click(f'[data-key="{key}"]')
    expect(page, "#h-now + .inputs").to_contain_text("on_line K1.I8 ○ off", timeout=LONG_MS)
    assert near.watching.running


def test_an_input_comes_on_by_itself(page, near):
    begin(page, near, "look")
    page.evaluate("window.sameTab = true")
    row = page.locator(".inputs li", has_text="start_lidding")
    playwright.expect(row).to_contain_text("○ off")
    near.watching.move("S1", "pressed")  # nobody touches the page
    playwright.expect(row).to_contain_text("● on")
    near.watching.move("S1", "released")
    playwright.expect(row).to_contain_text("○ off")
    expect(page, "#h-last ~ ul").to_contain_text("start_lidding")
    assert page.evaluate("window.sameTab")  # by the stream, not by loading the page anew


def swap_seed(cell) -> int:
    """Return the number that hides two exchanged cores which two inputs show."""
    every = single_faults(compile_circuit(cell))
    served = [n for n, i in cell.items.items() if i.part.channels]
    inputs = {n for n, s in cell.signals.items() if s.on is not None}
    for seed in range(1000):
        (fault,) = drawn_by_lot(cell, every, served, 1, KINDS[""], seed)
        if fault.kind == "swap" and len(inputs.intersection(fault.signals)) > 1:
            return seed
    raise AssertionError("no number hides exchanged cores")


def test_a_swapped_pair_is_named_and_leads_to_find(page, near):
    seed = swap_seed(near.session.now().cell)
    page.goto("/live")
    page.check('input[name="hide"]')
    page.fill('input[name="seed"]', str(seed))
    page.click('[data-key="practise"]')
    done = ""
    end = time.monotonic() + LONG_MS / 1000
    while not page.locator('[data-key="find"]').count():
        assert time.monotonic() < end
        said = " ".join(page.inner_text(".do").split())
        found = ASKED.search(said)
        if "nothing moved" in said:
            page.click('[data-key="done"]')
        elif found and said != done:
            page.click(f'[data-key="{found[1]} {found[2]}"]')
            done = said
        page.wait_for_timeout(30)
    (hidden,) = near.watching.hidden
    assert hidden not in page.inner_text("main")  # the hidden fault is told on asking only
    wrong = page.inner_text("ol.judged")
    assert "exchanged?" in wrong
    page.click('[data-key="find"]')
    page.wait_for_url("**/find?seen=**")
    expect(page, ".culprits").to_contain_text(hidden.rstrip("."), timeout=LONG_MS)


def test_closing_the_tab_ends_the_stream(page, near, browser, monkeypatch):
    from ringout.web import api_live

    monkeypatch.setattr(api_live, "SPAN_S", 600.0)
    stream, opened, ended = api_live._stream, [], []

    async def counted(*given):
        opened.append(1)
        try:
            async for part in stream(*given):
                yield part
        finally:
            ended.append(1)

    monkeypatch.setattr(api_live, "_stream", counted)
    begin(page, near, "look")
    until(lambda: opened)
    other = browser.new_context(base_url=near.home)
    tab = other.new_page()
    tab.goto("/live")
    until(lambda: len(opened) == 2)
    near.watching.move("S1", "pressed")
    tab.wait_for_selector('.inputs li:has-text("start_lidding"):has-text("● on")')
    assert not ended
    tab.close()
    until(lambda: len(ended) == 1, GONE_S)
    page.goto("/file")  # to leave for another page is as good
    until(lambda: len(ended) == 2, GONE_S)
    other.close()
    assert near.watching.running  # who only looks away ends nothing


@pytest.mark.parametrize("width", [1440, 1024, 390])
def test_nothing_is_wider_than_the_window_or_squeezed(page, near, width):
    page.set_viewport_size({"width": width, "height": 900})
    page.goto("/live")
    narrow = "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    assert page.evaluate(narrow)
    begin(page, near, "practise")
    expect(page, ".do").to_contain_text("1/", timeout=LONG_MS)
    near.watching.move("S1", "pressed")
    page.wait_for_selector("ol.judged li")
    assert page.evaluate(narrow)
    for card in page.locator("main .card").all():
        assert card.bounding_box()["width"] > 300


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed")
@pytest.mark.parametrize("width", [1440, 390])
def test_axe_finds_nothing_serious_while_led(browser, near, width):
    context = browser.new_context(
        base_url=near.home, viewport={"width": width, "height": 900}, bypass_csp=True
    )
    page = context.new_page()
    begin(page, near, "practise")
    expect(page, ".do").to_contain_text("1/", timeout=LONG_MS)
    near.watching.move("S1", "pressed")
    page.wait_for_selector("ol.judged li")
    page.add_script_tag(path=str(AXE))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    context.close()
    grave = [v["id"] for v in found["violations"] if v["impact"] in {"serious", "critical"}]
    assert not grave
