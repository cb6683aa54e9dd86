"""A touch counts once and always: under a page drawn anew, doubled by a glove, on a tablet that is full."""

from __future__ import annotations

import uuid

import pytest

from tests.browser.conftest import visiting
from tests.browser.test_store_without_a_network import SHELVES, a_photograph, take_along

pytestmark = pytest.mark.browser

ON_DISK = """async () => {
  const open = indexedDB.open("fettle-capture");
  const db = await new Promise((done) => { open.onsuccess = () => done(open.result); });
  const read = (name) => new Promise((done) => {
    const asked = db.transaction(name).objectStore(name).getAll();
    asked.onsuccess = () => done(asked.result);
  });
  const [outbox, drafts, photographs] = [await read("outbox"), await read("drafts"), await read("photographs")];
  db.close();
  return { outbox, drafts, photographs: photographs.map(({ bytes, ...rest }) => ({ ...rest, size: bytes.size })) };
}"""


def press_while_drawn_anew(page, first: str, second: str) -> None:
    """A finger on ``second`` while what ``first`` asked for comes back."""
    box = page.locator(second).bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.evaluate("name => document.querySelector(name).click()", first)
    page.mouse.down()
    page.wait_for_timeout(700)
    page.mouse.up()


def test_a_touch_on_the_survey_page_outlives_the_answer_to_the_one_before(browser, store_room):
    with visiting(browser, store_room, "tablet") as visit:
        [(pk,)] = store_room.rows("SELECT id FROM survey_object WHERE number = 'S 1'")
        page = visit.go(f"/survey/object/{uuid.UUID(str(pk))}/?step=grades")
        press_while_drawn_anew(page, "#g-instability-good", "#g-disfigurement-poor")
        page.wait_for_selector("#g-disfigurement-poor[aria-pressed=true]", timeout=5_000)
        page.wait_for_selector("#g-instability-good[aria-pressed=true]", timeout=5_000)
        assert visit.wrong == []


def test_on_the_tablet_each_touch_counts_and_a_doubled_one_once(browser, store_room):
    with visiting(browser, store_room, "tablet") as visit:
        page = visit.page
        take_along(page, store_room.address)
        page.context.set_offline(True)
        page.click(SHELVES)
        page.click("#next")
        page.wait_for_selector("#step-grades")
        page.click("#step-grades")
        page.wait_for_selector("#grade-instability-good")
        press_while_drawn_anew(page, "#grade-instability-good", "#grade-damage-fair")
        page.wait_for_selector("#grade-damage-fair[aria-pressed=true]", timeout=5_000)
        page.wait_for_selector("#grade-instability-good[aria-pressed=true]")
        page.click("#grade-disfigurement-good")
        page.click("#handling-free")
        page.click("#step-look")
        page.click("#restored-none")
        page.wait_for_selector("#finish")
        page.evaluate("() => { const e = document.querySelector('#finish'); e.click(); e.click(); e.click(); }")
        page.wait_for_selector("h1:has-text('S 2')")
        page.click("#restored-present")
        page.dblclick("#add-joint")
        page.wait_for_selector("#stage-0")
        kept = page.evaluate(ON_DISK)
        assert [one["operation"]["body"]["damage"] for one in kept["outbox"]] == ["fair"]
        assert [len(one["made"]) for one in kept["drafts"]] == [1]


FULL = """how => {
  const { put } = IDBObjectStore.prototype;
  window.roomAgain = () => { IDBObjectStore.prototype.put = put; };
  IDBObjectStore.prototype.put = function (...row) {
    const error = new DOMException("full", "QuotaExceededError");
    if (this.name !== "photographs" && this.name !== "outbox" && this.name !== "objects") return put.apply(this, row);
    if (how === "at once") throw error;
    const asked = put.apply(this, row);
    this.transaction.abort();
    Object.defineProperty(this.transaction, "error", { value: error });
    return asked;
  };
}"""


@pytest.mark.parametrize("how", ["at once", "while writing"])
def test_a_full_tablet_says_so_and_keeps_all_that_was_saved(browser, store_room, how):
    """A browser has no switch for a full disk that its database heeds, so its refusals are put in its place."""
    with visiting(browser, store_room, "tablet") as visit:
        page = visit.page
        take_along(page, store_room.address)
        page.context.set_offline(True)
        page.click(SHELVES)
        page.click("#next")
        page.set_input_files("#camera", a_photograph(40))
        page.wait_for_selector("text=Photograph (1)")
        page.click("#clear")
        page.wait_for_selector("#finish")
        before = page.evaluate(ON_DISK)
        page.evaluate(FULL, how)
        page.set_input_files("#camera", a_photograph(41))
        page.wait_for_selector("text=This tablet is full")
        page.click("#finish")
        page.wait_for_timeout(300)
        assert page.evaluate(ON_DISK) == before
        page.evaluate("roomAgain()")
        page.set_input_files("#camera", a_photograph(41))
        page.wait_for_selector("text=Photograph (2)")
        page.click("#finish")
        page.wait_for_selector("h1:has-text('S 2')")
        now = page.evaluate(ON_DISK)
        assert len(now["outbox"]) == 1 and len(now["photographs"]) == 2 and not now["drafts"]
        assert visit.wrong == []
