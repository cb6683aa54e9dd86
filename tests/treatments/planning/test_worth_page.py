"""What another hour is worth, as a page and as the picture in the list of treatments."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.treatments import checklists
from tests.treatments.checklists import text
from treatments.options.db import services as options

PAGE = "/staff/plan/worth/"


@pytest.fixture
def exhibition(db):
    checklists.benches()
    checklists.a_member()
    return checklists.an_exhibition()


def test_without_an_exhibition_or_work_it_says_so(reader, db):
    options.ensure_levels(at=checklists.now())
    assert "There is no exhibition" in text(reader.get(PAGE))
    exhibition = checklists.an_exhibition()
    assert "No object on the checklist has work" in text(reader.get(PAGE))
    checklists.move_date(exhibition, "opening", checklists.in_days(-1))
    assert "nothing to forecast or plan" in text(reader.get(PAGE))


def test_the_curve_names_todays_hours_and_stands_in_numbers_too(reader, exhibition):
    for _ in range(4):
        checklists.listed(exhibition, 3, 2)
    page = text(reader.get(PAGE))
    shown = reader.get(PAGE).context["shown"]
    assert "There are hours enough" in page and "h there are" in page and len(shown.rows) == 11
    assert shown.rows[-1][1] == pytest.approx(1.0)
    part = text(reader.get(PAGE, headers={"HX-Request": "true"}))
    assert "<figure" in part and "<html" not in part
    assert f'hx-get="{PAGE}"' in text(reader.get("/treatments/"))


def test_too_few_hours_for_what_must_be_ready_is_said_in_words(reader, exhibition):
    for _ in range(3):
        checklists.listed(exhibition, 4, 4, 4, entry={"importance": 5})
    for member in checklists.StaffMember.objects.all():
        member.works_to = checklists.in_days(-1)
        member.save()
    assert "do not even suffice for what must be ready" in text(reader.get(PAGE))


def test_the_page_costs_the_same_for_one_object_and_for_fifty(reader, exhibition):
    def count() -> int:
        with CaptureQueriesContext(connection) as made:
            assert reader.get(PAGE).status_code == 200
        return len(made)

    checklists.listed(exhibition, 3, 2)
    one = count()
    for _ in range(49):
        checklists.listed(exhibition, 3, 2)
    assert count() == one <= 60
