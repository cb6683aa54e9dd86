"""A shift in a store without a network, in a real browser on a real server: nothing lost, everything once."""

from __future__ import annotations

import io
import json
import zipfile

import pytest
from PIL import Image

from tests.browser.conftest import SHELF, visiting
from tests.processes import wait_for

pytestmark = pytest.mark.browser

SHELVES = "nav[aria-label='Shelves on this tablet'] a"


def a_photograph(shade: int) -> dict:
    out = io.BytesIO()
    Image.effect_noise((1600, 1200), shade).convert("RGB").save(out, "JPEG", quality=88)
    return {"name": "camera.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


class Touches:
    """A page on which every touch is counted."""

    def __init__(self, page) -> None:
        self.page, self.count = page, 0

    def touch(self, selector: str) -> None:
        self.page.wait_for_selector(selector)
        self.page.click(selector)
        self.count += 1

    def photograph(self, shade: int, number: int) -> None:
        self.page.set_input_files("#camera", a_photograph(shade))
        self.page.wait_for_selector(f"text=Photograph ({number})")
        self.count += 1

    def began(self) -> int:
        """Touches since this was last asked."""
        count, self.count = self.count, 0
        return count


def take_along(page, address: str) -> None:
    page.goto(f"{address}/capture/")
    page.click("text=Take shelves along")
    page.wait_for_selector("[id^=take-]")
    page.click("[id^=take-]")
    page.click("#take")
    page.wait_for_selector(SHELVES)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")


def restored_object(on: Touches) -> None:
    """Four joints, a fill, two signs and two photographs, from the object's page to the next one."""
    on.photograph(40, 1)
    on.photograph(41, 2)
    on.touch("#restored-present")
    for stage in (0, 1, 1):
        on.touch("#add-joint")
        on.touch(f"#stage-{stage}")
    on.touch("#add-joint")
    on.touch("#sign-edge_lifting")
    on.touch("#sign-gap")
    on.touch("#stage-3")
    on.touch("#add-fill")
    on.touch("#no-other")
    on.touch("#go-on")
    for axis in ("instability", "damage", "disfigurement"):
        on.touch(f"#grade-{axis}-fair")
    on.touch("#handling-care")
    on.touch("#finish")


def test_a_shift_without_a_network_comes_home_whole_and_once(browser, empty):
    empty.shell(SHELF)
    with visiting(browser, empty, "tablet") as visit:
        page = visit.page
        take_along(page, empty.address)
        page.context.set_offline(True)
        page.reload()
        page.click(SHELVES)
        on = Touches(page)
        page.click("#next")
        on.touch("#clear")
        on.touch("#finish")
        plain = on.began()
        page.wait_for_selector("h1:has-text('S 2')")
        restored_object(on)
        restored = on.began()
        page.wait_for_selector("h1:has-text('S 3')")
        on.photograph(42, 1)
        on.touch("#clear")
        page.wait_for_selector("#clear[aria-pressed=true]")
        page.reload()
        page.wait_for_selector("#clear[aria-pressed=true]")
        page.wait_for_selector("text=Photograph (1)")
        on.touch("#finish")
        page.wait_for_selector("h1:has-text('S 4')")
        page.wait_for_selector("text=3 records, 3 photographs unsent")
        assert empty.rows("select count(*) from survey_assessment") == [(0,)]
        page.context.set_offline(False)
        page.reload()
        page.wait_for_selector("text=All sent", timeout=60_000)
        page.goto(f"{empty.address}/capture/#/outbox")
        page.click("#send")
        page.wait_for_selector("text=Everything that can be sent is sent.")
    counts = "select count(*) from survey_assessment where finished_at is not null"
    assert empty.rows(counts) == [(3,)]
    assert empty.rows("select count(*), count(distinct uuid) from survey_operation where state = 'applied'") == [(3, 3)]
    assert empty.rows("select count(*) from survey_objectphotograph") == [(3,)]
    assert empty.rows("select count(*) from survey_joint") == [(4,)]
    assert sorted(empty.rows("select stage from survey_jointseen")) == [(0,), (1,), (1,), (3,)]
    assert empty.rows("select count(*) from survey_photographwanted where attached_at is null") == [(0,)]
    assert plain <= 3 and restored <= 25


def test_what_cannot_be_sent_can_be_carried_and_loaded_twice(browser, empty):
    empty.shell(SHELF)
    with visiting(browser, empty, "tablet") as visit:
        page = visit.page
        take_along(page, empty.address)
        page.context.set_offline(True)
        page.click(SHELVES)
        page.click("#next")
        page.set_input_files("#camera", a_photograph(50))
        page.wait_for_selector("text=Photograph (1)")
        page.click("#clear")
        page.click("#finish")
        page.wait_for_selector("h1:has-text('S 2')")
        page.evaluate("location.hash = '#/outbox'")
        with page.expect_download() as told:
            page.click("#export")
        file = told.value.path()
        with zipfile.ZipFile(file) as archive:
            assert archive.testzip() is None
            assert len(json.loads(archive.read("manifest.json"))["operations"]) == 1
        with visiting(browser, empty, "desk") as desk:
            for _ in range(2):
                desk.go("/capture/load/")
                desk.page.set_input_files(
                    "#file", {"name": "t.zip", "mimeType": "application/zip", "buffer": file.read_bytes()}
                )
                desk.page.click("button:has-text('Load it')")
                desk.page.wait_for_selector("text=1 photograph came in it")
    assert empty.rows("select count(*) from survey_assessment") == [(1,)]
    assert empty.rows("select count(*) from survey_objectphotograph") == [(1,)]


def test_an_expired_sign_in_keeps_everything_and_says_so(browser, empty):
    empty.shell(SHELF)
    with visiting(browser, empty, "tablet") as visit:
        page = visit.page
        take_along(page, empty.address)
        page.context.clear_cookies()
        page.click(SHELVES)
        page.click("#next")
        page.click("#clear")
        page.click("#finish")
        page.wait_for_selector("text=Sign in again to send")
        page.wait_for_selector("text=1 record unsent")
        visit.sign_in("head")
        page.goto(f"{empty.address}/capture/")
        page.wait_for_selector("text=All sent")
        wait_for(lambda: empty.rows("select count(*) from survey_assessment") == [(1,)], seconds=10)


@pytest.mark.parametrize("light", ["dim", "light"])
def test_every_target_is_large_enough_for_gloves_and_nothing_is_hidden_from_helpers(browser, empty, light):
    empty.shell(SHELF)
    with visiting(browser, empty, "tablet") as visit:
        page = visit.page
        take_along(page, empty.address)
        page.click("summary:has-text('Light, hands')")
        page.click(f"#light-{light}")
        page.wait_for_selector(f"html[data-theme={light}]")
        small = []
        small += too_small(page)
        assert visit.audit() == []
        page.click(SHELVES)
        page.wait_for_selector("#next")
        small += too_small(page)
        assert visit.audit() == []
        page.click("#next")
        for press in (
            "#restored-present",
            "#add-joint",
            "#sign-gap",
            "#stage-3",
            "#step-grades",
            "#step-handling",
            "#step-notes",
        ):
            page.click(press)
            page.wait_for_timeout(150)
            small += too_small(page)
            assert visit.audit() == []
        assert small == [] and visit.overflow() == 0


CONTROLS = """() => {
  const drawn = (e) => e.checkVisibility() && !e.classList.contains("unseen");
  const folded = (e) => e.closest("details:not([open])") && !e.matches("summary");
  const found = [...document.querySelectorAll("main :is(a, button, input, select, textarea, summary, label.button)")];
  return found.filter((e) => drawn(e) && !folded(e)).map((e) => {
    const { width, height } = e.getBoundingClientRect();
    return { name: e.id || e.textContent, width, height, least: e.matches(".main") ? 96 : 72 };
  });
}"""


def too_small(page) -> list[str]:
    """Controls under 72 px, main actions under 96 px, as they are drawn."""
    return [
        f"{each['name']}: {each['width']:.0f} x {each['height']:.0f}"
        for each in page.evaluate(CONTROLS)
        if each["height"] < each["least"] - 0.5 or each["width"] < 48
    ]
