"""Drawing on a photograph in a real browser: what is drawn is measured, kept, and goes into the record."""

from __future__ import annotations

import io
import json

import pytest
from PIL import Image

from tests.browser.conftest import visiting
from tests.browser.test_store_without_a_network import SHELF, SHELVES, take_along

pytestmark = pytest.mark.browser

PHOTOGRAPH = """
import io
from PIL import Image
from django.utils import timezone
from media.models import User
from media.photographs.db.services import receive
from survey.models import Fill, Joint, Object, ObjectPhotograph, Restoration
out = io.BytesIO()
Image.effect_noise((1000, 800), 40).convert('RGB').save(out, 'JPEG')
now, by = timezone.now(), User.objects.get(username='head')
thing = Object.objects.create(number='S 1', number_key='S 1', simple_name='jar')
campaign = Restoration.objects.create(object=thing)
Joint.objects.create(restoration=campaign, label='J1', part='neck')
Joint.objects.create(restoration=campaign, label='J2', part='foot', length_mm=55)
Fill.objects.create(restoration=campaign, label='F1', part='rim')
taken = ObjectPhotograph.objects.create(
    object=thing, photograph=receive(out.getvalue(), by=by, at=now), view='front', at=now, by=by
)
"""


class Hand:
    """Touches at pixels of the photograph, wherever it stands on the screen."""

    def __init__(self, page) -> None:
        self.page, self.board = page, page.locator("svg.board")
        self.board.wait_for()

    def at(self, x: float, y: float) -> tuple[float, float]:
        found = self.page.evaluate(
            "([x, y]) => { const s = document.querySelector('svg.board');"
            " const p = new DOMPoint(x, y).matrixTransform(s.getScreenCTM()); return [p.x, p.y]; }",
            [x, y],
        )
        return tuple(found)

    def tap(self, *points: tuple[float, float]) -> None:
        for point in points:
            self.page.mouse.click(*self.at(*point))

    def stroke(self, *points: tuple[float, float]) -> None:
        """One stroke through some points, without lifting."""
        self.page.mouse.move(*self.at(*points[0]))
        self.page.mouse.down()
        for point in points[1:]:
            self.page.mouse.move(*self.at(*point), steps=12)
        self.page.mouse.up()


def know_a_size(page, hand: Hand) -> None:
    """Two hundred pixels are forty millimetres."""
    page.click("#draw-scale")
    hand.tap((100, 700), (300, 700))
    page.fill("#known-mm", "40")
    page.click("#set-known")


def test_what_is_drawn_is_measured_and_goes_into_the_record(browser, empty):
    empty.shell(PHOTOGRAPH)
    with visiting(browser, empty, "tablet", has_touch=True) as visit:
        page = visit.page
        page.goto(f"{empty.address}/survey/photograph/1/")
        hand = Hand(page)
        know_a_size(page, hand)
        page.click("#draw-J1")
        hand.tap((100, 100), (400, 100), (400, 500))  # 700 pixels
        page.click("#done-shape")
        page.click("#draw-F1")
        page.click("#way")
        hand.stroke((600, 200), (800, 200), (800, 400), (600, 400), (600, 210))  # a square of 200 pixels
        page.click("#draw-J2")
        pinched(page, hand)
        page.click("#whole")
        page.click("#nearer")
        page.click("#way")
        hand.tap((450, 450), (500, 450))
        page.click("#done-shape")
        page.click("#draw-sample")
        hand.tap((520, 430))
        page.click("#undo-mark")
        page.wait_for_selector("li:has-text('Sample')", state="detached")
        page.click("#redo-mark")
        page.wait_for_selector("li:has-text('Sample')")
        assert too_small_for_a_finger(page) == [] and visit.audit() == [] and visit.overflow() == 0
        page.click("#save-markup")
        page.wait_for_selector("text=Versions (1)")
        (long,) = empty.rows("select length_mm from survey_joint where label = 'J1'")
        (wide,) = empty.rows("select area_cm2 from survey_fill")
        assert long[0] == pytest.approx(700 * 0.2, rel=0.01)
        assert wide[0] == pytest.approx((200 * 0.2) ** 2 / 100, rel=0.03)
        # A length that somebody wrote stays until it is said that the drawing's is better.
        assert empty.rows("select length_mm from survey_joint where label = 'J2'") == [(55,)]
        page.click("#take-J2")
        page.click("#save-markup")
        page.wait_for_selector("text=Versions (2)")
        (short,) = empty.rows("select length_mm from survey_joint where label = 'J2'")
        assert short[0] == pytest.approx(50 * 0.2, rel=0.03)
        with page.expect_download() as told:
            page.click("text=Save as annotations")
        saved = json.loads(told.value.path().read_text())
        assert [each["type"] for each in saved["items"]] == ["Annotation"] * 4
        assert visit.wrong == []
    drawn_with_keys_alone(browser, empty)


def pinched(page, hand: Hand) -> None:
    """Two fingers that part bring the photograph nearer, draw nothing, and never past eight times its size."""
    marks = page.locator("svg.board path.mark").count()
    client = page.context.new_cdp_session(page)
    x, y = hand.at(500, 400)

    def fingers(apart: float) -> list[dict]:
        return [{"x": x - apart, "y": y, "id": 1}, {"x": x + apart, "y": y, "id": 2}]

    widths = []
    for _ in range(3):
        client.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": fingers(20)})
        for apart in (40, 60, 80, 100):
            client.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": fingers(apart)})
        client.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        widths.append(float(page.get_attribute("svg.board", "viewBox").split()[2]))
    assert widths[0] < 500 and widths[-1] == pytest.approx(1000 / 8)
    assert page.locator("svg.board path.mark").count() == marks


def drawn_with_keys_alone(browser, installation) -> None:
    with visiting(browser, installation, "desk", who="head") as visit:
        page = visit.page
        page.goto(f"{installation.address}/survey/photograph/1/")
        Hand(page)
        page.focus("#draw-J1")
        page.keyboard.press("Enter")
        page.focus("svg.board")
        for key in ("Enter", "ArrowRight", "ArrowRight", "Enter", "ArrowDown", "Enter", "Backspace", "f"):
            page.keyboard.press(key)
        page.focus("#save-markup")
        page.keyboard.press("Enter")
        page.wait_for_selector("text=Versions (3)")
        assert visit.wrong == []
    ((drawing,),) = installation.rows("select drawing from media_markup where not overtaken")
    marks = (json.loads(drawing) if isinstance(drawing, str) else drawing)["marks"]
    (line,) = [
        mark
        for mark in marks
        if mark["term"] == "joint" and len(mark["points"]) == 2 and mark["points"][0] == [500, 400]
    ]
    assert line["points"][1] == [540, 400]  # two steps of a fiftieth of the width


def too_small_for_a_finger(page) -> list[str]:
    """Targets of the panel under 48 pixels."""
    return page.evaluate(
        """() => [...document.querySelectorAll(".markup :is(button, input)")].filter((e) => {
          const { width, height } = e.getBoundingClientRect();
          return e.checkVisibility() && (width < 47.5 || height < 47.5);
        }).map((e) => e.id || e.textContent)"""
    )


def taken_on_its_side() -> dict:
    """A photograph whose own notes say that it is to be turned: orientation 6 of Exif 2.32, section 4.6.4."""
    out, notes = io.BytesIO(), Image.Exif()
    notes[0x0112] = 6
    Image.effect_noise((1200, 1600), 40).convert("RGB").save(out, "JPEG", exif=notes)
    return {"name": "camera.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def test_a_tablet_draws_without_a_network_and_the_joint_gets_its_length(browser, empty):
    empty.shell(SHELF)
    with visiting(browser, empty, "tablet", has_touch=True) as visit:
        page = visit.page
        take_along(page, empty.address)
        page.context.set_offline(True)
        page.reload()
        page.click(SHELVES)
        page.click("#next")
        page.set_input_files("#camera", taken_on_its_side())  # upright 1600 by 1200 pixels
        page.click("#restored-present")
        page.click("#add-joint")
        page.click("#stage-1")
        page.click("#draw")
        hand = Hand(page)
        know_a_size(page, hand)
        page.click("#draw-J1")
        hand.tap((100, 100), (400, 100), (400, 500))
        page.click("#done-shape")
        page.wait_for_selector("#take-J1[aria-pressed=true]")
        assert too_small_for_a_finger(page) == [] and visit.audit() == [] and visit.overflow() == 0
        page.reload()  # as if the tablet had died: nothing is lost
        page.wait_for_selector("li:has-text('J1: 1')")
        page.click("#drawn")
        page.wait_for_selector("text=Drawn on it (1)")
        page.click("#undo")  # an undo of what was answered leaves the drawing
        page.click("#stage-1")
        page.click("#step-grades")
        for axis in ("instability", "damage", "disfigurement"):
            page.click(f"#grade-{axis}-fair")
        page.click("#handling-care")
        page.click("#finish")
        page.wait_for_selector("text=2 records, 1 photograph unsent")
        page.context.set_offline(False)
        page.reload()
        page.wait_for_selector("text=All sent", timeout=60_000)
    assert empty.rows("select kind, state from survey_operation order by sequence") == [
        ("assessment", "applied"),
        ("markup", "applied"),
    ]
    ((joint, length),) = empty.rows("select id, length_mm from survey_joint")
    ((drawing, name),) = empty.rows("select drawing, sha256 from media_markup")
    marks = (json.loads(drawing) if isinstance(drawing, str) else drawing)["marks"]
    assert length == pytest.approx(140, rel=0.01)  # 700 pixels, of which 200 are 40 mm
    assert [mark["target"].replace("-", "") for mark in marks] == [str(joint).replace("-", "")]
    upright = (json.loads(drawing) if isinstance(drawing, str) else drawing)["width"]
    assert empty.rows("select sha256, width from media_photograph") == [(name, upright)] == [(name, 1600)]
