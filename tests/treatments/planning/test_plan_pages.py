"""The plan's pages: what they say before, while and after a plan is made; who may do what; equal query counts."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from media.base import jobs
from survey.models import Milestone
from tests.treatments import checklists
from tests.treatments.checklists import text
from treatments.models import Plan, StaffMember
from treatments.planning.db import selectors, services

PAGE = "/staff/plan/"


@pytest.fixture
def exhibition(db):
    made = checklists.an_exhibition()
    checklists.a_member("Ann Ware")
    checklists.benches()
    checklists.scored(checklists.listed(made, 3, 2), checklists.listed(made, 2, entry={"importance": 5}))
    return made


def busiest(plan: Plan) -> str:
    step = plan.steps.order_by("starts").first()
    return f"{PAGE}?week={timezone.localtime(step.starts).date().isoformat()}"


def test_asked_for_on_the_page_it_is_made_and_answers(conservator, exhibition, django_capture_on_commit_callbacks):
    page = text(conservator.get(PAGE))
    assert "Nobody has made a plan yet" in page and "Make a plan" in page
    said = {"mandatory_weeks": 2, "other_weeks": 1, "seconds": 1, "seed": 0}
    with django_capture_on_commit_callbacks(execute=True):
        assert conservator.post(f"{PAGE}make/", said).status_code == 302
    page = text(conservator.get(PAGE))
    assert "of what is possible" in page and "Nothing is left out" in page and "Adapt to changes" in page
    with django_capture_on_commit_callbacks(execute=True):
        conservator.post(f"{PAGE}adapt/")
    assert "Nothing had to move" in text(conservator.get(PAGE))


def test_a_form_filled_in_wrongly_comes_back_with_what_is_wrong(conservator, exhibition):
    answer = conservator.post(f"{PAGE}make/", {"mandatory_weeks": -1, "other_weeks": 1, "seconds": 1, "seed": 0})
    assert answer.status_code == 422 and "greater than or equal to 0" in text(answer) and not Plan.objects.exists()


def test_while_it_is_made_the_first_plan_shows_with_progress_and_can_be_stopped(conservator, exhibition):
    row, _ = services.start_plan(by=None, at=timezone.now(), seconds=1.0)
    offer = selectors.offer_for(row)
    services.keep_plan(row, offer, services.make_first(offer), {}, at=timezone.now(), last=False)
    page = text(conservator.get(PAGE))
    assert "best plan kept so far" in page and "hx-trigger" in page and "Stop" in page
    assert "2</strong> objects" in page and "of what is possible" not in page.split("best plan kept")[0]
    jobs.run(row.job_id)
    assert "best plan kept so far" not in text(conservator.get(PAGE))


def test_every_bar_is_a_link_with_words_to_its_line_in_the_table(reader, exhibition):
    page = text(reader.get(busiest(checklists.planned())))
    bars = re.findall(r'<a href="#(sitting-\d+)" aria-label="([^"]+)"', page)
    assert bars and all("Ann Ware" in words for _, words in bars)
    assert [key for key, _ in bars] == re.findall(r'<tr id="(sitting-\d+)"', page)


def test_a_pin_is_set_and_taken_out_on_the_page(conservator, exhibition):
    plan = checklists.planned()
    thing = plan.steps.first().object_id
    address = f"{PAGE}{plan.pk}/pin/{thing}/"
    assert conservator.post(address, {"to": "pinned"}).status_code == 302
    assert plan.steps.filter(object=thing, pinned_by=None).count() == 0
    assert "Unpin" in text(conservator.get(busiest(plan)))
    conservator.post(address, {"to": "free"})
    assert not plan.steps.exclude(pinned_by=None).exists()
    assert conservator.post(f"{PAGE}{plan.pk}/pin/{plan.pk}/", {"to": "pinned"}).status_code == 404


def test_all_weeks_and_the_sheets_show_what_one_week_shows(reader, exhibition):
    plan = checklists.planned()
    step = plan.steps.order_by("starts").select_related("object").first()
    page = text(reader.get(f"{PAGE}?show=all"))
    assert "Ann Ware" in page and "Opening" in page and page.count("sitting") > 1
    sheet = text(reader.get(busiest(plan).replace(PAGE, f"{PAGE}sheet/")))
    assert step.object.number in sheet and "Ann Ware" in sheet


@pytest.mark.parametrize("week", ["nonsense", "2026-99-99", "1900-01-01", "9999-12-31", "0001-01-01"])
def test_a_week_that_cannot_be_shows_one_that_can(reader, exhibition, week):
    checklists.planned()
    assert reader.get(PAGE, {"week": week}).status_code == 200


def test_shares_of_loss_are_changed_on_their_page(conservator, exhibition):
    page = text(conservator.get(f"{PAGE}effects/"))
    fields = dict(re.findall(r'name="((?:share|grounds)_\w+)"[^>]*?value="([^"]*)"', page))
    fields |= {"share_secure": "30", "grounds_secure": "Our own count"}
    assert conservator.post(f"{PAGE}effects/", fields).status_code == 302
    assert selectors.effects()["secure"] == (0.3, "Our own count")
    assert conservator.post(f"{PAGE}effects/", fields | {"share_secure": "130"}).status_code == 422


@pytest.mark.parametrize("who", ["reader", "surveyor"])
def test_readers_and_surveyors_see_the_plan_and_change_nothing(request, exhibition, who):
    client, plan = request.getfixturevalue(who), checklists.planned()
    page = text(client.get(busiest(plan)))
    assert "Adapt to changes" not in page and ">Pin<" not in page and "Plan anew" not in page
    for path in ("make/", "adapt/", f"{plan.pk}/pin/{plan.steps.first().object_id}/", "effects/"):
        assert client.post(PAGE + path).status_code == 403
    assert Plan.objects.count() == 1


def test_nobody_sees_the_plan_before_signing_in(client, exhibition):
    for path in ("", "sheet/", "calendars/", "effects/"):
        assert client.get(PAGE + path)["Location"].startswith("/sign-in/")


@pytest.mark.parametrize(
    ("lacking", "line"),
    [("exhibition", "needs an exhibition"), ("opening", "no opening day yet"), ("staff", "who is at the bench")],
)
def test_what_is_lacking_is_said_with_what_to_do(conservator, exhibition, lacking, line):
    if lacking == "exhibition":
        exhibition.closed_at = timezone.now()
        exhibition.save()
    elif lacking == "opening":
        Milestone.objects.filter(kind="opening").delete()
    else:
        StaffMember.objects.all().delete()
    page = text(conservator.get(PAGE))
    assert line in page and "Make a plan</button>" not in page
    assert conservator.get(f"{PAGE}sheet/").status_code == 404


def test_somebody_taken_off_the_staff_list_leaves_sittings_that_say_so(reader, exhibition):
    plan = checklists.planned()
    address = busiest(plan)
    checklists.a_member("Bob Glaze")
    StaffMember.objects.filter(name="Ann Ware").delete()
    assert "Nobody any more" in text(reader.get(address))


@pytest.mark.parametrize("path", ["week", "?show=all", "sheet/"])
def test_pages_take_as_many_queries_for_many_sittings_as_for_one(reader, exhibition, path):
    def count() -> int:
        plan = checklists.planned()
        address = busiest(plan) if path == "week" else PAGE + path
        with CaptureQueriesContext(
            connection,
        ) as found:
            assert reader.get(address).status_code == 200
        return len(found)

    few = count()
    for _ in range(25):
        checklists.listed(exhibition, 3, 2)
    many = count()
    assert many == few and many < 40
