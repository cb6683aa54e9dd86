"""The plan board by mouse, by finger and by keys: what moves is said, what clashes is seen first, all can be undone."""

from __future__ import annotations

import pytest

from tests.browser.conftest import visiting

pytestmark = pytest.mark.browser

PLANNED = """
from django.utils import timezone
from media.base import jobs
from tests.treatments import checklists
from treatments.planning.db import services
made = checklists.an_exhibition()
checklists.a_member("Ann Ware")
checklists.a_member("Bob Glaze")
checklists.benches()
checklists.scored(checklists.listed(made, 3, 2))
row, job = services.start_plan(by=None, at=timezone.now(), seconds=1.0)
jobs.run(job.pk)
"""
RULES = "() => [...document.querySelectorAll('svg.board .rule')].map((rule) => rule.getBoundingClientRect().top)"


def lies(museum, key: int) -> tuple:
    return museum.rows(f"SELECT staff_id, starts FROM treatments_plannedstep WHERE id = {key}")[0]  # noqa: S608 a number of its own


def undo(page) -> None:
    page.wait_for_selector("text=Moved and pinned")
    page.click("text=Undo the last move")
    page.wait_for_selector("text=Put back")


def middle(bar) -> tuple[float, float]:
    bar.scroll_into_view_if_needed()
    box = bar.locator(".bar").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_sitting_is_moved_by_mouse_by_keys_and_by_finger_and_put_back(browser, empty):
    empty.shell(PLANNED)
    [(key, day)] = empty.rows("SELECT id, date(starts) FROM treatments_plannedstep ORDER BY starts DESC LIMIT 1")
    with visiting(browser, empty, "tablet", has_touch=True) as visit:
        page, before = visit.go(f"/staff/plan/?week={day}"), lies(empty, key)
        bar = page.locator(f'svg.board a[data-key="{key}"]')
        of_ann = "Ann" in bar.get_attribute("aria-label")
        away = "ArrowDown" if of_ann else "ArrowUp"

        def rows_apart() -> float:
            top, below = page.evaluate(RULES)[:2]
            return below - top if of_ann else top - below

        # By mouse: the other person is free then, so that letting go is enough.
        x, y = middle(bar)
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x, y + rows_apart(), steps=6)
        page.mouse.up()
        undo(page)
        assert lies(empty, key) == before

        # By keys: what would be is shown before it is done, and let go without a trace.
        bar.focus()
        for last in ("Escape", "Enter"):
            page.keyboard.press("Enter")
            page.keyboard.press(away)
            page.wait_for_selector("#hand-put:visible")
            assert "It fits" in page.inner_text("#hand-says")
            page.keyboard.press(last)
        undo(page)

        # By finger: touch it, touch where it goes, put it there.
        page.touchscreen.tap(*middle(bar))
        page.wait_for_selector("#hand:visible")
        x, y = middle(bar)
        page.touchscreen.tap(x, y + rows_apart())
        page.wait_for_selector("#hand-put:visible")
        page.tap("#hand-put")
        undo(page)

        # On top of what comes before it, it would clash: that is said, and nothing has moved.
        bar.focus()
        page.keyboard.press("Enter")
        for _ in range(3):
            page.keyboard.press("ArrowLeft")
        page.wait_for_selector("#hand-put:visible")
        assert "all the same" in page.inner_text("#hand-put") and page.locator("#hand-clashes li").count()
        page.click("#hand-leave")
        assert lies(empty, key) == before and visit.wrong == []
