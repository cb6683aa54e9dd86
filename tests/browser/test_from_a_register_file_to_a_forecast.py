"""The whole job in a browser, from a registrar's file to the chance to be ready, beginning with nothing.

The register is real open data (see ``tests/reference/data/open_register_sample.md``): sizes in inches, 0.0 where none
was recorded, line breaks inside fields.
"""

from __future__ import annotations

import csv
from datetime import date, timedelta

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import Visit, visiting
from tests.processes import ROOT

pytestmark = pytest.mark.browser
REGISTER = ROOT / "tests/reference/data/open_register_sample.csv"


def ceramics() -> list[str]:
    """Accession numbers of the ceramics, read without any of our code."""
    with REGISTER.open(newline="", encoding="utf-8") as file:
        return [row["accession_number"] for row in csv.DictReader(file) if row["classification"] == "Ceramics"]


@pytest.mark.parametrize("size", ["tablet", "desk"])
def test_a_registrars_file_becomes_a_forecast(browser, empty, size):
    numbers = ceramics()
    with visiting(browser, empty, size) as visit:
        bring_in(visit, len(numbers))
        shelf = make_places(visit)
        opening = make_exhibition(visit, numbers[:6])
        look_at_an_unrestored_object(visit, shelf, numbers[0])
        look_at_a_failing_object(visit, numbers[1])
        score(visit, numbers[1])
        choose_a_level(visit, numbers[1])
        add_staff(visit)
        forecast(visit, opening)
        assert visit.wrong == []


def bring_in(visit: Visit, expected: int) -> None:
    page = visit.go("/")
    page.get_by_role("link", name="Bring in a register").click()
    page.set_input_files("#id_file", REGISTER)
    page.get_by_role("button", name="Take in the file").click()
    page.select_option("#id_length_unit", "in")
    page.check("#id_zero_is_missing")
    page.select_option("#id_keep_column", "classification")
    page.select_option("#id_keep_how", "equals")
    page.fill("#id_keep_words", "Ceramics")
    page.fill("#id_source", "Open register")
    page.get_by_role("button", name="Look the file through").click()
    page.get_by_role("button", name=f"Bring in {expected} objects").click(timeout=90_000)
    expect(page.locator(".answer")).to_contain_text(f"{expected} objects made", timeout=90_000)
    assert visit.audit() == []


def make_places(visit: Visit) -> str:
    """A site, a room and a shelf; the address of the shelf's survey page."""
    page = visit.go("/places/")
    for kind, name in (("site", "Harbour house"), ("room", "North room"), ("shelf", "Shelf 1")):
        page.get_by_role("link", name="Add").first.click()
        page.select_option("#id_kind", kind)
        page.fill("#id_name", name)
        page.locator("main form button.primary").click()
        if page.get_by_role("link", name=name).count():
            page.get_by_role("link", name=name).first.click()
        expect(page.locator("h1")).to_contain_text(name)
    return page.url.replace("/places/", "/survey/shelf/")


def make_exhibition(visit: Visit, numbers: list[str]) -> date:
    opening = date.today() + timedelta(weeks=20)
    page = visit.go("/exhibitions/new/")
    page.fill("#id_name", "Glaze and tide")
    for kind, before in (("photography", 42), ("mount_making", 21), ("case_closing", 7), ("opening", 0)):
        page.fill(f"#id_{kind}", (opening - timedelta(days=before)).isoformat())
    page.locator("main form button.primary").click()
    page.get_by_role("link", name="Take in a list").first.click()
    page.fill("#id_text", "\n".join([*numbers, "no such number"]))
    page.get_by_role("button", name="Look the list through").click()
    expect(page.locator("tr.needs-person")).to_contain_text("No such number")
    page.get_by_role("button", name=f"Put {len(numbers)} on the checklist").click()
    expect(page.locator(".answer")).to_contain_text(f"{len(numbers)} objects")
    return opening


def look_up(visit: Visit, shelf: str, number: str) -> None:
    """Something stands on the shelf that the register does not place there: find it by its number."""
    visit.page.goto(shelf)
    visit.page.fill("input[name=number]", number)
    visit.page.get_by_role("button", name="Look it up").click()
    expect(visit.page.locator("h1")).to_contain_text(number)


def look_at_an_unrestored_object(visit: Visit, shelf: str, number: str) -> None:
    look_up(visit, shelf, number)
    visit.page.click("#t-found-on-this-shelf")
    expect(visit.page.locator("#t-found-on-this-shelf")).to_have_attribute("aria-pressed", "true")
    visit.page.click("#t-unremarkable")
    expect(visit.page.locator("#next")).to_contain_text("freezes this one")
    visit.page.click("#next")
    visit.page.goto(shelf)
    expect(visit.page.locator(".answer")).to_contain_text("1 looked at")


def look_at_a_failing_object(visit: Visit, number: str) -> None:
    page = visit.page
    look_up(visit, page.url, number)
    page.click("#t-found-on-this-shelf")
    page.click("#t-restored-present")
    page.click("#add-joint")
    page.click("#where-neck")
    page.click("#stage-3")
    expect(page.locator("#stage-3")).to_have_attribute("aria-pressed", "true")
    page.click("#structural-yes")
    expect(page.locator("#structural-yes")).to_have_attribute("aria-pressed", "true")
    page.click("#open-adhesive")
    page.locator("label[for=a-cellulose_nitrate]").click()
    page.locator("label[for=b-look]").click()
    page.click("#keep-adhesive")
    page.click("#to-parts")
    page.click("#to-grades")
    for axis, grade in (("instability", "unacceptable"), ("damage", "poor")):
        page.click(f"#g-{axis}-{grade}")
        expect(page.locator(f"#g-{axis}-{grade}")).to_have_attribute("aria-pressed", "true")
    page.click("#g-disfigurement-fair")
    page.click("#h-do_not_lift")
    expect(page.locator("#next")).to_contain_text("freezes this one")
    assert visit.audit() == []
    page.click("#next")


def score(visit: Visit, worst: str) -> None:
    page = visit.go("/ranking/")
    page.get_by_role("button", name="Score").first.click()
    expect(page.locator("main")).to_contain_text(worst, timeout=90_000)
    row = page.locator("li.rank", has_text=worst).first
    expect(row).to_contain_text("Do not lift")
    assert visit.audit() == []


def choose_a_level(visit: Visit, number: str) -> None:
    page = visit.go("/treatments/")
    page.get_by_role("link", name=number, exact=True).click()
    assert page.locator("section.card h2").count() >= 4
    card = page.locator("section.card", has=page.get_by_role("heading", name="Take down and rejoin", exact=True))
    card.get_by_label("Why this level").fill("Its only joint carries the neck and moves.")
    card.get_by_role("button", name="Choose").click()
    expect(page.locator(".answer")).to_contain_text("Take down and rejoin is chosen")


def add_staff(visit: Visit) -> None:
    page = visit.go("/forecast/")
    page.get_by_role("link", name="Add staff").click()
    page.get_by_role("link", name="Add a person").first.click()
    page.fill("#id_name", "Hanne Quill")
    for box in page.locator("input[name=skills]").all():
        box.check()
    for day in range(4):
        page.fill(f"#id_start{day}", "9")
        page.fill(f"#id_hours{day}", "7.5")
    page.locator("main form button.primary").first.click()
    expect(page.locator("main")).to_contain_text("Hanne Quill")


def forecast(visit: Visit, opening: date) -> None:
    page = visit.go("/forecast/")
    page.get_by_role("button", name="Make a forecast").click()
    expect(page.locator("h1")).to_contain_text(f"{opening:%-d %B}", timeout=120_000)
    expect(page.locator(".answer")).to_contain_text("%")
    assert visit.audit() == []
