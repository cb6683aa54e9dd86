"""The tablet's surface held either way, in either hand, in a dim room: large enough, far enough apart, dark on light.

Sizes: 48 px and 8 px apart (Android accessibility help, touch targets, from memory), 72 and 96 px for touches made in
gloves (our own proposal, after Appl. Ergon. 2013, 44(2):297-302). Contrast: 7:1 (WCAG 2.2, 1.4.6).
"""

from __future__ import annotations

import pytest

from tests.browser.conftest import visiting
from tests.browser.test_store_without_a_network import SHELVES, take_along, too_small

pytestmark = pytest.mark.browser
HELD = {"upright": (820, 1180), "across": (1180, 820)}
TOO_CLOSE = """() => {
  const layer = (e) => e.closest(".capture-foot, .capture-head")?.className ?? "page";
  const found = [...document.querySelectorAll("main :is(a, button, input, select, textarea, summary, label.button)")]
    .filter((e) => e.checkVisibility() && !e.classList.contains("unseen"))
    .filter((e) => !e.closest("details:not([open])") || e.matches("summary"))
    .map((e) => ({ e, name: e.id || e.textContent.trim(), layer: layer(e), box: e.getBoundingClientRect() }));
  const close = [];
  for (const [i, a] of found.entries()) for (const b of found.slice(i + 1)) {
    if (a.layer !== b.layer || a.e.contains(b.e) || b.e.contains(a.e)) continue;
    const across = Math.max(a.box.left - b.box.right, b.box.left - a.box.right, 0);
    const down = Math.max(a.box.top - b.box.bottom, b.box.top - a.box.bottom, 0);
    if (Math.max(across, down) < 7.5) close.push(`${a.name} and ${b.name}: ${across.toFixed(0)}, ${down.toFixed(0)}`);
  }
  return close;
}"""
TOO_PALE = """least => {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 1;
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  const rgba = (colour) => {
    pen.clearRect(0, 0, 1, 1);
    pen.fillStyle = colour;
    pen.fillRect(0, 0, 1, 1);
    return [...pen.getImageData(0, 0, 1, 1).data];
  };
  const light = ([r, g, b]) => [r, g, b].map((c) => c / 255)
    .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4))
    .reduce((sum, c, i) => sum + c * [0.2126, 0.7152, 0.0722][i], 0);
  const ground = (e) => {
    for (let each = e; each; each = each.parentElement) {
      const colour = rgba(getComputedStyle(each).backgroundColor);
      if (colour[3] > 250) return colour;
    }
    return rgba("Canvas");
  };
  const words = (e) => [...e.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
  const pale = [];
  for (const e of document.querySelectorAll("main *")) {
    if (!words(e) || !e.checkVisibility() || e.closest("[disabled], option, svg")) continue;
    const [one, two] = [light(rgba(getComputedStyle(e).color)), light(ground(e))];
    const ratio = (Math.max(one, two) + 0.05) / (Math.min(one, two) + 0.05);
    if (ratio < least) pale.push(`${e.tagName} ${e.textContent.trim().slice(0, 25)}: ${ratio.toFixed(1)}`);
  }
  return pale;
}"""


def look_at(page, visit, wrong: list[str], where: str) -> None:
    page.wait_for_timeout(150)
    found = [*too_small(page), *page.evaluate(TOO_CLOSE), *page.evaluate(TOO_PALE, 7)]
    wrong += [f"{where}: {each}" for each in found]
    if visit.overflow():
        wrong.append(f"{where}: wider than the window")


def checks_that_can_fail(page) -> None:
    """Two targets side by side without a gap, and grey on the page's own ground, are found."""
    close, pale = page.evaluate(f"""() => {{
      const wrong = document.createElement("div");
      const target = (textContent) => Object.assign(document.createElement("button"), {{ textContent }});
      wrong.append(target("one"), target("two"));
      wrong.style.color = "#777";
      for (const each of wrong.children) each.style.color = "inherit";
      document.querySelector("main").append(wrong);
      const found = [({TOO_CLOSE})(), ({TOO_PALE})(7)];  // at once: the page may be drawn anew at any time
      wrong.remove();
      return found;
    }}""")
    assert any("one and two" in each for each in close)
    assert any("one" in each for each in pale)


@pytest.mark.parametrize(("held", "hand", "light"), [("upright", "right", "dim"), ("across", "left", "dark")])
def test_every_page_suits_the_hand_the_room_and_the_way_it_is_held(browser, store_room, held, hand, light):
    wrong: list[str] = []
    with visiting(browser, store_room, "tablet") as visit:
        page = visit.page
        width, height = HELD[held]
        page.set_viewport_size({"width": width, "height": height})
        take_along(page, store_room.address)
        page.click("summary:has-text('Light, hands')")
        page.click(f"#light-{light}")
        page.wait_for_selector(f"html[data-theme={light}]")
        page.click("summary:has-text('Light, hands')")
        page.click(f"#hand-{hand}")
        page.wait_for_selector(f"#page[data-hand={hand}]")
        checks_that_can_fail(page)
        look_at(page, visit, wrong, "shelves")
        page.click(SHELVES)
        page.wait_for_selector("#next")
        look_at(page, visit, wrong, "shelf")
        page.click("#next")
        for press in ("#restored-present", "#add-joint", "#sign-gap", "#stage-3", "#step-grades", "#step-handling"):
            page.click(press)
            look_at(page, visit, wrong, press)
        undo, main = page.locator("#undo").bounding_box(), page.locator(".capture-foot .main").bounding_box()
        assert (undo["x"] < main["x"]) == (hand == "right")
        assert main["y"] + main["height"] > height - 40, "what comes next is at the thumb"
        page.evaluate("location.hash = '#/outbox'")
        page.wait_for_selector("#send")
        look_at(page, visit, wrong, "outbox")
    assert wrong == []
