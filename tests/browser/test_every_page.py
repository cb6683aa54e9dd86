"""Every main page of the demo, at tablet, desk and phone size, light and dark: whole, quiet, and accessible."""

from __future__ import annotations

import pytest

from tests.browser.conftest import visiting

pytestmark = pytest.mark.browser
PAGES = (
    "/", "/register/", "/register/imports/", "/register/imports/new/", "/register/objects/new/", "/places/",
    "/exhibitions/", "/survey/", "/ranking/", "/ranking/?checklist=1", "/ranking/next/",
    "/ranking/own-surveys/", "/treatments/", "/forecast/",
    "/forecast/objects/", "/staff/", "/staff/new/", "/staff/plan/", "/staff/plan/worth/",
    "/treatments/time/", "/treatments/learned/", "/forecast/between/", "/week/", "/settings/", "/settings/scoring/",
    "/settings/scoring/tables/pace/", "/settings/scoring/tables/evidence-uv/", "/settings/scoring/sets/",
    "/settings/climate/", "/settings/climate/files/", "/settings/climate/files/new/", "/people/", "/people/new/",
    "/password/", "/places/by-words/", "/capture/labels/",
)  # fmt: skip
ONE_OF_EACH = {
    "an object": ("SELECT id FROM survey_object ORDER BY number_key LIMIT 1", "/objects/{}/"),
    "a scored object": ("SELECT object_id FROM survey_objectrisk WHERE rank_by_weighted = 1", "/objects/{}/"),
    "its levels": ("SELECT object_id FROM survey_objectrisk WHERE rank_by_weighted = 1", "/treatments/{}/"),
    "a shelf": ("SELECT place_id FROM survey_object ORDER BY number_key LIMIT 1", "/survey/shelf/{}/"),
    "a place": ("SELECT place_id FROM survey_object ORDER BY number_key LIMIT 1", "/places/{}/"),
    "a place's climate": (
        "SELECT place_id FROM survey_object ORDER BY number_key LIMIT 1",
        "/settings/climate/places/{}/",
    ),
    "an exhibition": ("SELECT id FROM survey_exhibition", "/exhibitions/{}/"),
    "an assessment": (
        "SELECT id FROM survey_assessment WHERE finished_at IS NOT NULL ORDER BY started_at DESC LIMIT 1",
        "/survey/assessment/{}/",
    ),
}


@pytest.mark.parametrize(("size", "scheme"), [("tablet", "light"), ("desk", "dark"), ("phone", "light")])
def test_every_page_is_whole_quiet_and_accessible(browser, museum, size, scheme):
    paths = list(PAGES)
    for query, path in ONE_OF_EACH.values():
        paths.append(path.format(str(museum.rows(query)[0][0]).replace("-", "")))
    faults = {}
    with visiting(browser, museum, size, color_scheme=scheme) as visit:
        for path in map(_with_dashes, paths):
            visit.go(path)
            found = [*visit.audit(), *visit.wrong]
            if visit.overflow() > 0:
                found.append(f"{visit.overflow()} px wider than the window")
            visit.wrong.clear()
            if found:
                faults[path] = found[:4]
    assert faults == {}


def _with_dashes(path: str) -> str:
    """Ids as addresses hold them: SQLite keeps them without dashes."""
    parts = [
        f"{part[:8]}-{part[8:12]}-{part[12:16]}-{part[16:20]}-{part[20:]}" if len(part) == 32 else part
        for part in path.split("/")
    ]
    return "/".join(parts)


def test_nothing_is_shown_to_who_has_not_signed_in(browser, museum):
    with visiting(browser, museum, "desk", who="") as visit:
        visit.go("/ranking/")
        assert "/sign-in/?next=/ranking/" in visit.page.url


def test_a_reader_is_refused_in_words_what_readers_may_not_do(browser, museum):
    with visiting(browser, museum, "desk", who="reader") as visit:
        answer = visit.page.goto(f"{museum.address}/staff/new/")
        assert answer is not None and answer.status == 403
        assert visit.page.locator("h1").inner_text()


def test_a_long_job_shows_its_progress_and_its_end(browser, museum):
    with visiting(browser, museum, "tablet") as visit:
        visit.go("/forecast/")
        visit.page.get_by_role("button", name="Forecast again").click()
        visit.page.locator(".job").wait_for()
        visit.page.locator(".job").wait_for(state="detached", timeout=120_000)
        assert visit.page.locator("h1").inner_text().startswith("Will we be ready")
        assert visit.wrong == []
