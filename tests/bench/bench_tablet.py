"""Touches, seconds and bytes of the tablet's surface in a real browser, its processor slowed four times.

    .venv/bin/python -m tests.bench.bench_tablet [--times 9] [--slowed 4]

Goals: an object without old restoration in 3 touches, one with four joints, a fill, two signs and two photographs in
25 without typing; from a touch to the next painting 200 ms, from one object to the next 300 ms, all at the 75th
percentile; the app open without a network in 2 s; its script under 90 kB compressed, the scanner apart. The same on the
same machine unslowed is printed beside it.
"""

from __future__ import annotations

import argparse
import gzip
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import sync_playwright

from media.management.commands.start import DEMO_PASSWORD
from tests.browser.conftest import FLAGS, SIZES, Visit
from tests.browser.test_store_without_a_network import SHELVES, Touches, restored_object, take_along
from tests.processes import Installation
from tests.suite import chromium

MUSEUM = f"""
from media.base.models import User
from survey.models import Object, Place
User.objects.create_user('head', password={DEMO_PASSWORD!r}, role='head')
shelf = Place.objects.create(kind='shelf', name='Shelf 1', position=1, path='00001.', full_name='Store A, shelf 1')
for i in range(10, 70):
    Object.objects.create(number=f'S {{i}}', number_key=f'S {{i}}', simple_name='jar', place=shelf)
"""
# From the event that a finger makes to the second frame after the page shows what it left.
PAINTED = """([name, shows]) => new Promise((done, failed) => {
  const late = setTimeout(() => failed(new Error(shows)), 20000);
  const element = document.querySelector(name);
  let began = 0;
  const there = () => document.querySelector(shows) && !document.contains(element);
  const look = () => requestAnimationFrame(() => {
    if (!there()) return look();
    clearTimeout(late);
    const at = performance.now();
    requestAnimationFrame(() => done(performance.now() - began));
  });
  element.addEventListener("pointerdown", () => { began = performance.now(); }, { capture: true });
  element.addEventListener("pointerup", look, { capture: true });
})"""


def script_bytes() -> tuple[int, int]:
    """Compressed bytes of the app's own script with its library, and of the scanner."""
    import django

    django.setup()
    from django.contrib.staticfiles import finders

    from survey.capture.web import shell

    sizes = {
        name: len(gzip.compress(Path(str(finders.find(name))).read_bytes()))
        for name in shell.FILES
        if name.endswith(".js")
    }
    scanner = sum(size for name, size in sizes.items() if "jsqr" in name.lower())
    return sum(sizes.values()) - scanner, scanner


def touched(page: Any, name: str, shows: str) -> float:
    """Milliseconds from a touch on a target to the painting of what it leads to."""
    page.wait_for_selector(name)
    asked = page.evaluate_handle(f"(them) => {{ window.painted = ({PAINTED})(them); }}", [name, shows])
    asked.dispose()
    page.click(name, delay=30)
    return float(page.evaluate("window.painted"))


def measure(page: Any, times: int) -> dict[str, list[float]]:
    """Touches of each kind, and the way from one object to the next."""
    found: dict[str, list[float]] = {"touch": [], "next object": []}
    for _ in range(times):
        here = page.inner_text("h1")
        touch = found["touch"]
        touch.append(touched(page, "#restored-present", "#add-joint"))
        touch.append(touched(page, "#add-joint", "#stage-0"))
        touch.append(touched(page, "#sign-gap", "#sign-gap[aria-pressed=true], #sign-gap.present"))
        touch.append(touched(page, "#stage-3", "#part-J1"))
        touch.append(touched(page, "#step-grades", "#grade-damage-fair"))
        for axis in ("instability", "damage"):
            touch.append(touched(page, f"#grade-{axis}-fair", f"#grade-{axis}-fair[aria-pressed=true]"))
        touch.append(touched(page, "#grade-disfigurement-fair", "#handling-care"))
        touch.append(touched(page, "#handling-care", "#handling-care[aria-pressed=true]"))
        found["next object"].append(touched(page, "#finish", "#restored-present"))
        page.wait_for_function("was => document.querySelector('h1').innerText !== was", arg=here)
    return found


def opened(page: Any) -> float:
    """Seconds until the app shows its shelves, without a network."""
    began = time.perf_counter()
    page.reload()
    page.wait_for_selector("#undo, #next, nav[aria-label='Shelves on this tablet'] a")
    return time.perf_counter() - began


def counted(page: Any) -> tuple[int, int]:
    """Touches of an object without old restoration, and of a restored one."""
    on = Touches(page)
    on.touch("#clear")
    on.touch("#finish")
    plain = on.began()
    page.wait_for_selector("h1:has-text('S 11')")
    restored_object(on)
    return plain + 1, on.began()  # the first touch is the one that leads to the object


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=5)
    parser.add_argument("--slowed", type=float, default=4)
    chosen = parser.parse_args()
    with ExitStack() as stack:
        museum = Installation(Path(stack.enter_context(tempfile.TemporaryDirectory(ignore_cleanup_errors=True))))
        stack.callback(museum.close)
        museum.manage("migrate", "-v", "0")
        museum.shell(MUSEUM)
        museum.server("--no-worker")
        playwright = stack.enter_context(sync_playwright())
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        width, height = SIZES["tablet"]
        visit = Visit(browser.new_page(viewport={"width": width, "height": height}), museum.address)
        visit.sign_in("head")
        return told(visit.page, museum.address, chosen)


def told(page: Any, address: str, chosen: argparse.Namespace) -> int:
    take_along(page, address)
    page.context.set_offline(True)
    page.click(SHELVES)
    page.click("#next")
    plain, restored = counted(page)
    page.wait_for_selector("h1:has-text('S 12')")
    print(f"touches: {plain} for an object without old restoration, {restored} for a restored one")
    devtools, good = page.context.new_cdp_session(page), plain <= 3 and restored <= 25
    for rate in (1, chosen.slowed):
        devtools.send("Emulation.setCPUThrottlingRate", {"rate": rate})
        found, starts = measure(page, chosen.times), [opened(page) for _ in range(5)]
        late = {name: float(np.quantile(each, 0.75)) for name, each in found.items()}
        worst = max(found["touch"])
        print(
            f"processor {rate:g} times slower, 75th percentile: touch {late['touch']:.0f} ms (worst {worst:.0f}), next "
            f"object {late['next object']:.0f} ms, open without a network {np.quantile(starts, 0.75):.2f} s"
        )
    good &= late["touch"] < 200 and late["next object"] < 300 and np.quantile(starts, 0.75) < 2
    script, scanner = script_bytes()
    print(f"script {script / 1000:.1f} kB compressed, scanner {scanner / 1000:.1f} kB")
    return 0 if good and script < 90_000 else 1


if __name__ == "__main__":
    sys.exit(main())
