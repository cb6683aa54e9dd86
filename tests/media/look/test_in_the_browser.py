"""The specimen in a real Chromium: accessibility rules, sizes, reflow, keyboard, content policy, refusals."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright

from tests.suite import chromium

pytestmark = pytest.mark.browser
ROOT = Path(__file__).resolve().parents[3]
AXE = ROOT / "tests/browser/vendor/axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SCREENS = {"tablet": (820, 1180), "desk": (1440, 900), "phone": (390, 844)}
ARGUMENTS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SMALL = """least => [...document.querySelectorAll('a, button, select, summary, textarea, input')].filter(e => {
  const target = e.matches('input[type=radio], input[type=checkbox]') ? e.closest('label') : e;
  const box = target.getBoundingClientRect();
  return !e.closest('.skip') && box.width > 0 && (box.width < least || box.height < least);
}).map(e => e.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "tests.media.look.specimen", str(port)]
    server = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    url = f"http://127.0.0.1:{port}/"
    try:
        for _ in range(100):
            try:
                urllib.request.urlopen(url, timeout=5)
                break
            except OSError:
                time.sleep(0.1)
        yield url
    finally:
        server.terminate()
        server.wait(10)


@pytest.fixture(scope="module")
def browser(playwright: Playwright) -> Iterator[Browser]:
    launched = playwright.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
    yield launched
    launched.close()


def opened(browser: Browser, url: str, screen: str = "tablet", theme: str = "light", **options) -> Page:
    width, height = SCREENS[screen]
    page = browser.new_page(viewport={"width": width, "height": height}, **options)
    page.add_init_script(f"localStorage.setItem('fettle.theme', '{theme}')")
    page.goto(url)
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true })")
    return page


@pytest.mark.parametrize(
    ("screen", "theme"),
    [("tablet", "light"), ("tablet", "dark"), ("tablet", "dim"), ("desk", "dark"), ("phone", "light")],
)
def test_the_accessibility_rules_hold(browser, address, screen, theme):
    """axe-core over WCAG 2.2 A and AA. It leaves open words inside drawings; the token test measures their contrast."""
    page = opened(browser, address, screen, theme)
    page.evaluate(AXE.read_text())
    found = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)
    assert [(rule["id"], rule["nodes"][0]["target"]) for rule in found["violations"]] == []
    unsure = [(rule["id"], node["html"]) for rule in found["incomplete"] for node in rule["nodes"]]
    assert [entry for entry in unsure if not (entry[0] == "color-contrast" and entry[1].startswith("<text"))] == []
    page.close()


def test_the_accessibility_rules_catch_a_planted_fault(browser, address):
    page = opened(browser, address)
    page.evaluate("document.querySelector('main').insertAdjacentHTML('beforeend', '<button></button><input>')")
    page.evaluate(AXE.read_text())
    found = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)
    assert {"button-name", "label"} <= {rule["id"] for rule in found["violations"]}
    page.close()


@pytest.mark.parametrize("screen", SCREENS)
def test_every_target_suits_a_finger(browser, address, screen):
    """48 px each way (Android guidance 48 dp); tiles 72 px and the main action 96 px, for gloves."""
    page = opened(browser, address, screen)
    assert page.evaluate(SMALL, 47.5) == []
    heights = "name => [...document.querySelectorAll(name)].map(e => e.getBoundingClientRect().height)"
    assert min(page.evaluate(heights, ".choice")) >= 72
    assert min(page.evaluate(heights, ".button.main")) >= 96
    page.close()


@pytest.mark.parametrize("screen", ["tablet", "phone"])
def test_the_capture_screen_fits_one_hand(browser, address, screen):
    """The choices and the next object lie in the lower half of the screen, all of it without scrolling sideways."""
    page = opened(browser, f"{address}see/media/specimen_capture.html", screen, "dim")
    width, height = SCREENS[screen]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    for action in page.locator(".button.main, .choice").all():
        box = action.bounding_box()
        assert box and box["y"] >= 0.35 * height and box["height"] >= 72
    main = page.locator(".button.main").bounding_box()
    assert main and main["height"] >= 96 and main["y"] + main["height"] <= height
    page.close()


@pytest.mark.parametrize("width", [320, 390, 768, 820, 1216, 1440])
def test_nothing_runs_out_of_the_page(browser, address, width):
    """Reflow at 320 px is WCAG 2.2 SC 1.4.10."""
    page = browser.new_page(viewport={"width": width, "height": 800})
    page.goto(address)
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


@pytest.mark.parametrize("screen", SCREENS)
def test_words_twice_as_large_still_fit(browser, address, screen):
    """Text at 200 %, WCAG 2.2 SC 1.4.4: nothing leaves the page, nothing is cut."""
    page = opened(browser, address, screen)
    page.evaluate(
        "const sheet = new CSSStyleSheet(); sheet.replaceSync('html { font-size: 200% }');"
        " document.adoptedStyleSheets = [sheet]"
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= SCREENS[screen][0]
    page.close()


def test_the_page_breaks_no_content_policy_and_logs_nothing(browser, address):
    page = browser.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(address)
    page.wait_for_timeout(1500)  # the job's panel has been asked for at least once
    assert said == []
    page.close()


def test_the_keyboard_starts_at_the_way_past_the_head(browser, address):
    page = opened(browser, address)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the page"
    assert page.evaluate("document.activeElement.getBoundingClientRect().height") >= 48
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")
    page.close()


def test_the_ways_unfold_on_a_phone_without_script(browser, address):
    page = opened(browser, address, "phone")
    assert not page.locator("#ways").is_visible()
    page.get_by_role("button", name="Menu").click()
    assert page.locator("#ways").get_by_role("link", name="Forecast").is_visible()
    page.keyboard.press("Escape")
    assert not page.locator("#ways").is_visible()
    page.close()
    plain = browser.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844}).new_page()
    plain.goto(address)
    plain.get_by_role("button", name="Menu").click()
    assert plain.get_by_role("link", name="Forecast").is_visible()
    plain.context.close()


def test_the_light_in_the_room_is_remembered(browser, address):
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.goto(address)
    page.locator(".head > .signed-in select").select_option("dim")
    page.goto(address)
    assert page.evaluate("document.documentElement.dataset.theme") == "dim"
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(20, 16, 13)"
    page.locator(".head > .signed-in select").select_option("system")
    page.goto(address)
    assert page.evaluate("document.documentElement.dataset.theme") is None
    context.close()


def test_a_refusal_is_shown_where_the_page_speaks(browser, address):
    page = opened(browser, address)
    page.get_by_role("button", name="Change a frozen assessment").click()
    page.locator("#messages .notice.refused").wait_for()
    assert page.locator("#messages").inner_text().strip() == "This assessment is frozen."
    assert page.locator("h1").inner_text() == "Which objects first, and why?"
    page.close()


def test_a_server_that_does_not_answer_is_said(browser, address):
    page = opened(browser, address)
    page.route("**/refuse/", lambda route: route.abort())
    page.get_by_role("button", name="Change a frozen assessment").click()
    page.get_by_text("The server does not answer.").wait_for()
    page.close()


def test_a_refusal_without_words_gets_ours(browser, address):
    page = opened(browser, address)
    page.route("**/refuse/", lambda route: route.fulfill(status=502, body="<h1>Bad gateway</h1>"))
    page.get_by_role("button", name="Change a frozen assessment").click()
    page.get_by_text("The server could not do this.").wait_for()
    assert page.locator("h1").inner_text() == "Which objects first, and why?"
    page.close()


def test_a_whole_page_in_place_of_a_part_is_gone_to(browser, address):
    """As after a redirect, or when the session has ended."""
    page = opened(browser, address)
    whole = "<!doctype html><title>Sign in</title><h1>Sign in</h1>"
    page.route("**/refuse/", lambda route: route.fulfill(body=whole, content_type="text/html"))
    page.get_by_role("button", name="Change a frozen assessment").click()
    page.wait_for_url("**/refuse/")
    assert page.title() == "Sign in"
    page.close()


def test_print_keeps_the_signs_and_drops_the_tools(browser, address):
    page = browser.new_page()
    page.goto(address)
    page.emulate_media(media="print")
    for kept in (".do-not-lift:not(.short)", ".rows .stage", ".rows .grade", ".interval", ".fold > p", ".shelf-marks"):
        assert page.locator(kept).first.is_visible(), kept
    for dropped in (".head", ".toolbar", ".page-actions", ".button", ".foot"):
        assert not page.locator(dropped).first.is_visible(), dropped
    ink = page.evaluate("getComputedStyle(document.querySelector('.do-not-lift')).color")
    assert ink == "rgb(0, 0, 0)"
    page.close()
