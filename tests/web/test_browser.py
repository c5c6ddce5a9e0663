"""The bench in a real browser: keyboard alone, without script, at three widths."""

from __future__ import annotations

import re
from urllib.parse import quote

import pytest

from tests.web.chromium import AXE, BROWSED, expect, playwright, press_to

pytestmark = BROWSED
SIGNAL = "/circuit/start_lidding"


def result(page) -> str:
    return page.inner_text(".result")


def test_keyboard_alone_presses_measures_and_goes_back(page):
    page.goto(SIGNAL)
    assert "off" in result(page)
    press_to(page, "S1 pressed")
    page.keyboard.press("Enter")
    page.wait_for_url("**while=S1+pressed")
    expect(page, ".result").to_contain_text(": on")
    # the focus stays on what was pressed, so that the next Tab goes on from there
    assert page.evaluate("document.activeElement.dataset.key") == "S1 pressed"
    page.goto(f"{SIGNAL}?while=S1+pressed")
    press_to(page, "pin K1-X1:4")
    page.keyboard.press("Enter")
    page.wait_for_url("**probe=K1-X1:4,")
    press_to(page, "pin K1-X1:3")
    page.keyboard.press("Enter")
    page.wait_for_url("**probe=K1-X1:4,K1-X1:3")
    expect(page, ".display").to_contain_text("V")
    assert 20 < float(page.inner_text(".display").split()[0]) < 25
    page.go_back()
    expect(page, ".display").not_to_contain_text("V")
    page.go_back()
    expect(page, ".flag.red").to_have_count(0)


def test_the_first_tab_leads_past_the_menu(page):
    page.goto("/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_what_comes_by_itself_leaves_the_focus_alone(page):
    """The overview is fetched again when cures are solved: the focus stays where it was."""
    page.goto("/")
    page.focus("#h-signals ~ * a >> nth=2")
    href = page.evaluate("document.activeElement.getAttribute('href')")
    page.evaluate("history.pushState(null, '', '/')")
    page.evaluate("history.pushState(null, '', '/?again')")
    with page.expect_response("**/"):
        page.evaluate("history.back()")
    expect(page, "body:not(.busy)").to_have_count(1)
    assert page.evaluate("document.activeElement.getAttribute('href')") == href


def test_cut_in_the_drawing_and_take_back_by_mouse(page):
    page.goto(f"{SIGNAL}?while=S1+pressed&tool=cut")
    assert ": on" in result(page)
    page.click('[data-key="core W1:BK"] > rect')
    expect(page, ".result").to_contain_text(": off")
    page.click(".made a:has-text('Take back')")
    expect(page, ".result").to_contain_text(": on")


def test_steps_are_undone_and_done_again(page):
    page.goto(SIGNAL)
    undo, redo = page.locator('[data-key="undo"]'), page.locator('[data-key="redo"]')
    playwright.expect(undo).to_have_attribute("aria-disabled", "true")
    page.click('[data-key="S1 pressed"]')
    expect(page, ".result").to_contain_text(": on")
    page.click('[data-key="tool cut"]')
    page.click('[data-key="core W1:BK"] > rect')
    expect(page, ".result").to_contain_text(": off")
    undo.click()
    expect(page, ".result").to_contain_text(": on")
    redo.click()
    expect(page, ".result").to_contain_text(": off")
    playwright.expect(redo).to_have_attribute("aria-disabled", "true")
    page.keyboard.press("Control+z")
    expect(page, ".result").to_contain_text(": on")
    page.click("text=All at rest")  # a new step: what was undone cannot be done again
    expect(page, ".result").to_contain_text(": off")
    playwright.expect(redo).to_have_attribute("aria-disabled", "true")


def test_a_link_shows_another_browser_the_same(page, browser):
    page.goto(f"{SIGNAL}?while=S1+pressed&tool=bridge")
    page.click('[data-key="pin K1-X1:1"] > rect')
    expect(page, ".hint").to_contain_text("First: K1-X1:1")
    page.click('[data-key="pin K1-X1:3"] > rect')
    expect(page, ".result").to_contain_text(": off")
    link = page.input_value("#link")
    context = browser.new_context()
    other = context.new_page()
    other.goto(link)
    assert result(other) == result(page)
    assert "A wire bridges K1-X1:1 and K1-X1:3" in other.inner_text(".made")
    assert "F1.branch1 has opened" in other.inner_text(".board")
    context.close()
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.click("#copy")
    expect(page, "#copy").to_have_text("Copied")
    assert page.evaluate("navigator.clipboard.readText()") == link


def test_swapping_keeps_the_page_and_its_scroll(page):
    page.set_viewport_size({"width": 390, "height": 800})
    page.goto(SIGNAL)
    page.evaluate("window.stayed = true; window.scrollTo(0, 120)")
    page.click('[data-key="S1 pressed"]')
    expect(page, ".result").to_contain_text(": on")
    assert page.evaluate("window.stayed")
    assert page.evaluate("window.scrollY") == 120


def test_without_script(browser, home):
    context = browser.new_context(base_url=home, java_script_enabled=False)
    page = context.new_page()
    page.goto(SIGNAL)
    page.click('[data-key="S1 pressed"]')
    assert ": on" in result(page)
    page.fill('input[name="red"]', "K1-X1:4")
    page.fill('input[name="black"]', "K1-X1:3")
    page.click("text=Measure")
    assert "V" in page.inner_text(".display")
    page.click('[data-key="tool cut"]')
    page.click('[data-key="core W1:BK"] > rect')
    assert ": off" in result(page)
    page.go_back()
    assert ": on" in result(page)
    page.goto("/file")
    page.fill("#text", page.input_value("#text") + "# without script\n")
    page.click("text=Save")
    assert "Saved." in page.inner_text("main")
    page.click("text=Take the last save back")
    assert "Taken back." in page.inner_text("main")
    assert "without script" not in page.input_value("#text")
    context.close()


def test_the_text_is_checked_while_typed(page):
    page.goto("/file")
    assert "Every line can be used" in page.inner_text("#sum")
    text = page.input_value("#text")
    page.fill("#text", text.replace("S1:14", "S1:15"))
    page.wait_for_selector("#problems .error")
    assert "S1 has no terminal 15" in page.inner_text("#problems")
    line = text[: text.index("S1:14")].count("\n") + 1
    assert page.inner_text("#numbers .bad").strip() == str(line)
    page.click("#problems a")
    start = page.evaluate("document.getElementById('text').selectionStart")
    assert text[:start].count("\n") == line - 1
    page.fill("#text", text)
    expect(page, "#sum").to_contain_text("✓")


WIDTHS = (1440, 1024, 390)
PAGES = ("/", "/circuit", f"{SIGNAL}?tool=fault", "/sockets", "/file", "/add?cable=W1")


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("path", PAGES)
def test_no_page_is_wider_than_its_window(page, path, width):
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(path)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("path", PAGES)
def test_what_is_pressed_is_large_enough_for_a_finger(page, path):
    """Links in running text aside, targets are 24 px or more, most of them 44 (wcag 2.2, 2.5.8)."""
    page.set_viewport_size({"width": 820, "height": 1180})
    page.goto(path)
    small = page.evaluate(
        """() => [...document.querySelectorAll(
             'button, .button, summary, input:not([type=hidden]), select, .menu a, .tools a, '
             + '.positions a, .tiles a, .choices a')]
           .filter((e) => e.checkVisibility()
             && e.type !== 'checkbox' && e.getBoundingClientRect().height < 44)
           .map((e) => e.outerHTML.slice(0, 80))"""
    )
    assert not small
    spots = page.evaluate(
        """() => [...document.querySelectorAll('.spot > rect')]
           .map((e) => e.getBoundingClientRect())
           .map((b) => Math.min(b.width, b.height))"""
    )
    assert all(s >= 24 for s in spots)


@pytest.mark.parametrize("path", PAGES)
def test_all_that_can_be_pressed_is_reached_by_tab_and_shows_it(page, path):
    """In the order of the page, each once, and with a frame round what has the focus."""
    page.goto(path)
    wanted = page.evaluate(
        """() => {
           const all = [...document.querySelectorAll(
             'a[href], button, input:not([type=hidden]), select, textarea, summary, '
             + '[tabindex="0"]')]
             .filter((e) => e.checkVisibility());
           all.forEach((e, k) => { e.dataset.nth = k; });
           return all.length; }"""
    )
    seen, bare = set(), []
    for _ in range(wanted + 5):
        page.keyboard.press("Tab")
        nth, framed, what = page.evaluate(
            """() => { const e = document.activeElement, s = getComputedStyle(e);
               const rect = e.querySelector(':scope > rect');
               const framed = s.outlineStyle !== 'none'
                 || (rect && getComputedStyle(rect).stroke !== 'none');
               return [e.dataset.nth ?? '', !!framed, e.outerHTML.slice(0, 80)]; }"""
        )
        seen.add(nth)
        if nth and not framed:
            bare.append(what)
    assert len(seen - {""}) == wanted
    assert not bare


def test_levels_are_told_without_colour(page):
    """What is on, off and wrong is told by signs and words; the same with colours taken away."""
    page.goto(SIGNAL)
    for row in page.query_selector_all(".levels li"):
        sign, _, word, _ = (e.inner_text() for e in row.query_selector_all(":scope > span"))
        dark = word in ("off", "at rest", "dark")
        assert sign == ("○" if dark else "●")
    page.goto("/")
    for verdict in page.query_selector_all("td .verdict"):
        assert re.fullmatch(r"[✓!✗?] \w+", verdict.inner_text())


def test_two_browsers_do_not_mix(browser, home):
    pages = [browser.new_context(base_url=home).new_page() for _ in range(2)]
    pages[0].goto(SIGNAL)
    pages[1].goto(f"{SIGNAL}?while=S1+pressed")
    pages[0].reload()
    assert ": off" in result(pages[0])
    assert ": on" in result(pages[1])
    for page in pages:
        page.context.close()


def test_a_person_makes_a_cell_from_nothing(browser, serve):
    home, target = serve("fresh.yaml", demo=False)
    context = browser.new_context(base_url=home)
    page = context.new_page()
    page.goto("/")
    page.fill('[name="cell"]', "First cell")
    page.click("text=Make the cell")
    for part, note in (
        ("pushbutton-1no-gold", "start"),
        ("pushbutton-1no-gold", "stop"),
        ("inductive-pnp-no", "part in place"),
    ):
        form = page.locator("form", has=page.locator("text=Add the item"))
        form.locator("select").select_option(part)
        form.locator('[name="note"]').fill(note)
        form.locator("button").click()
        assert "Written into the file" in page.inner_text("main")
    for part in ("cable-4x0.34", "cable-4x0.34", "cordset-m12-4"):
        form = page.locator("form", has=page.locator("text=Add the cable"))
        form.locator("select").select_option(part)
        form.locator('[name="length"]').fill("5")
        form.locator("button").click()
    for cable, item, socket_ in (("W4", "S1", "K1-X1"), ("W5", "S2", "K1-X2")):
        page.select_option('select[name="cable"]', cable)
        page.wait_for_selector(f"legend:has-text('{cable}:BN')")
        for core, a, b in (("BN", "13", "1"), ("BK", "14", "4")):
            page.fill(f'[name="from-{core}"]', f"{item}:{a}")
            page.fill(f'[name="to-{core}"]', f"{socket_}:{b}")
        page.click("text=Land these cores")
    form = page.locator("form", has=page.locator("text=Add the join"))
    form.locator('[name="from"]').fill("B1")
    form.locator('[name="core"]').fill("W6")
    form.locator('[name="to"]').fill("K1-X3")
    form.locator("button").click()
    for name, channel, on in (
        ("start", "K1.I1", "S1 pressed"),
        ("stop", "K1.I2", "S2 pressed"),
        ("in_place", "K1.I3", "B1 target"),
    ):
        form = page.locator("form", has=page.locator("text=Add the signal"))
        form.locator('[name="name"]').fill(name)
        form.locator('[name="channel"]').fill(channel)
        form.locator('[name="on"]').fill(on)
        form.locator("button").click()
    page.click("text=Overview")
    assert "3 works" in page.inner_text("main")
    page.click("text=in_place")
    page.click("text=Make it on")
    expect(page, ".result").to_contain_text(": on")
    assert target.read_text("utf-8").startswith("cell: First cell\n")
    context.close()


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed")
@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing_serious(browser, home, width):
    context = browser.new_context(base_url=home, bypass_csp=True)
    page = context.new_page()
    page.set_viewport_size({"width": width, "height": 900})
    more = f"{SIGNAL}?tool=part&first=S1&bridge=K1-X1:1,K1-X1:3&probe=K1-X1:4,K1-X1:3"
    for path in (*PAGES, more, "/nowhere"):
        page.goto(path)
        page.add_script_tag(content=AXE.read_text("utf-8"))
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        grave = [v for v in found["violations"] if v["impact"] in ("serious", "critical")]
        assert not grave, (path, [(v["id"], v["nodes"][0]["html"]) for v in grave])
    context.close()


OVERLAPS = """() => {
  const boxes = (list) => [...list].map((n) => [n.textContent, n.getBoundingClientRect()]);
  const all = [...document.querySelectorAll("svg.circuit text")];
  const words = all.filter((t) => !t.closest(".flag"));
  const found = [];
  for (const [tag, a] of boxes(document.querySelectorAll("svg.circuit .flag rect")))
    for (const [word, b] of boxes(words))
      if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 0.5
          && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 0.5) found.push(word);
  return found;
}"""


@pytest.mark.parametrize("signal", ["start_lidding", "clamp_open", "caddy_at_stop"])
def test_probes_cover_no_label(page, signal):
    """The tags of the probes stand clear of every word, on whichever pins they are held."""
    page.set_viewport_size({"width": 1440, "height": 1200})
    page.goto(f"/circuit/{signal}")
    keys = page.locator("a.spot.pin").evaluate_all("all => all.map((a) => a.dataset.key.slice(4))")
    pins = list(dict.fromkeys(keys))
    assert len(pins) > 5
    for one, two in zip(pins[::2], pins[1::2], strict=False):
        page.goto(f"/circuit/{signal}?probe={quote(one)},{quote(two)}")
        assert page.locator(".flag").count() >= 2
        assert not page.evaluate(OVERLAPS), (one, two)


@pytest.mark.parametrize("script", [True, False])
def test_the_menu_of_a_phone_folds_and_opens_by_keyboard(browser, home, script):
    context = browser.new_context(
        base_url=home, viewport={"width": 390, "height": 844}, java_script_enabled=script
    )
    tab = context.new_page()
    tab.goto("/sockets")
    link = tab.get_by_role("link", name="Faults", exact=True)
    assert not link.is_visible()
    assert tab.locator(".top").bounding_box()["height"] < 110
    assert "Sockets" in tab.inner_text(".fold summary")
    tab.keyboard.press("Tab")  # past the way to the content
    tab.keyboard.press("Tab")
    tab.keyboard.press("Enter")
    link.wait_for()
    assert tab.locator(".menu a:visible").count() == tab.locator(".menu a").count()
    while tab.locator(":focus").inner_text() != "Faults":
        tab.keyboard.press("Tab")
    tab.keyboard.press("Enter")
    tab.wait_for_url("**/faults")
    tab.set_viewport_size({"width": 1024, "height": 800})
    assert link.is_visible()
    assert not tab.locator(".fold").is_visible()
    context.close()
