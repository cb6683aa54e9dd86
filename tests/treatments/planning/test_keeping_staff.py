"""Who works when and at which bench: added, changed, taken off, and what is refused."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from media.base.errors import FettleError
from media.base.models import Event
from tests import builders
from tests.treatments import checklists
from tests.treatments.checklists import text
from treatments.models import Holiday, Leave, StaffMember, Workplace
from treatments.planning.calendar import monday_of
from treatments.planning.db import selectors, services

STAFF = "/staff/"
NEW = "/staff/new/"


def week(**changed) -> dict[str, str]:
    """The fields of a person who joins and fills from Monday to Thursday."""
    said = {"name": "Ann Kiln", "skills": ["join", "fill"], "bench_share": "65"}
    for day in range(7):
        said |= {f"start{day}": "9", f"hours{day}": "7.5" if day < 4 else "0"}
    return said | changed


def test_nobody_yet_says_what_to_do(head, reader):
    assert "Add the people who do bench work" in text(head.get(STAFF))
    assert "Nobody is recorded at the bench yet" in text(reader.get(STAFF))


def test_a_person_is_added_with_week_and_skills_in_words(head):
    page = text(head.post(NEW, week(), follow=True))
    made = StaffMember.objects.get()
    assert made.week == [[9.0, 7.5]] * 4 + [[9.0, 0.0]] * 3 and made.bench_share == pytest.approx(0.65)
    assert "take down and join, fill and shape" in page and "Ann Kiln" in page
    line = head.get(STAFF).context["lines"][0]
    assert (line.paid, line.bench) == (30.0, pytest.approx(19.5))
    assert Event.objects.get(subject_id=str(made.pk)).verb == "added to the staff"


def test_a_change_is_one_event_with_what_it_was_and_became(head):
    head.post(NEW, week())
    member = StaffMember.objects.get()
    address = reverse("planning:member", args=[member.pk])
    assert "Ann Kiln" in text(head.get(address))
    head.post(address, week(bench_share="50"))
    event = Event.objects.get(verb="changed")
    assert (event.was["bench_share"], event.became["bench_share"]) == (0.65, 0.5)
    head.post(address, week(bench_share="50"))
    assert Event.objects.filter(verb="changed").count() == 1, "kept without a change, nothing happened"


@pytest.mark.parametrize(
    ("changed", "line"),
    [
        ({"hours2": "25"}, "less than or equal to 16"),
        ({"hours2": "-1"}, "greater than or equal to 0"),
        ({"hours2": "all day"}, "Enter a number"),
        ({"hours2": "nan"}, "Enter a number"),
        ({"hours2": "inf"}, "Enter a number"),
        ({"start2": "24"}, "less than or equal to 23.75"),
        ({"start2": "20", "hours2": "8"}, "Wednesday would end after midnight"),
        ({"skills": ["juggle"]}, "not one of the available choices"),
        ({"skills": []}, "This field is required"),
        ({"name": "   "}, "This field is required"),
        ({"name": "x" * 121}, "at most 120 characters"),
        ({"name": "Ann\x00"}, "Null characters"),
        ({"bench_share": "0"}, "greater than or equal to 5"),
        ({"bench_share": "101"}, "less than or equal to 100"),
        ({"works_from": "2026-05-02", "works_to": "2026-05-01"}, "must not be before the first"),
        ({"works_from": "31/31/2026"}, "Enter a valid date"),
    ],
)
def test_what_cannot_be_is_refused_in_place_and_nothing_is_kept(head, changed, line):
    response = head.post(NEW, week(**changed))
    assert response.status_code == 422 and line in text(response)
    assert "Not kept yet" in text(response) and "9" in text(response)
    assert not StaffMember.objects.exists()


def test_an_empty_form_is_refused_too(head):
    assert head.post(NEW, {}).status_code == 422 and not StaffMember.objects.exists()


@pytest.mark.parametrize(
    ("values", "line"),
    [
        ({"week": [[9, 7]] * 6}, "seven days"),
        ({"week": [[9, "x"]] * 7}, "as numbers"),
        ({"week": [[20, 8]] * 7}, "within the day"),
        ({"skills": ["juggle"]}, "no skill called juggle"),
        ({"bench_share": 0}, "share of paid time"),
        ({"works_from": date(2026, 5, 2), "works_to": date(2026, 5, 1)}, "must not be before"),
    ],
)
def test_whoever_calls_the_service_is_held_to_the_same(db, values, line):
    usual = {"name": "Ann", "skills": ["join"], "week": checklists.FULL_WEEK, "bench_share": 0.65}
    with pytest.raises(FettleError, match=line):
        services.save_member(StaffMember(), usual | values, by=None, at=builders.NOW)
    assert not StaffMember.objects.exists()


def test_a_person_is_taken_off_only_after_asking(head):
    member = checklists.a_member()
    address = reverse("planning:member_remove", args=[member.pk])
    assert "Take Ann off the staff list?" in text(head.get(address)) and StaffMember.objects.exists()
    head.post(address)
    assert not StaffMember.objects.exists() and Event.objects.filter(verb="taken off the staff").exists()
    assert head.post(address).status_code == 404


def test_leave_is_added_shown_while_it_is_not_over_and_taken_out(head):
    member, day = checklists.a_member(), checklists.today()
    add = reverse("planning:leave_add", args=[member.pk])
    head.post(add, {"first": day, "last": day + timedelta(days=4), "why": "course"})
    Leave.objects.create(staff=member, first=day - timedelta(days=9), last=day - timedelta(days=8), why="long over")
    page = text(head.get(STAFF))
    assert "(course)" in page and "long over" not in page
    leave = Leave.objects.get(why="course")
    head.post(reverse("planning:leave_remove", args=[member.pk, leave.pk]))
    assert not Leave.objects.filter(why="course").exists()
    assert head.post(reverse("planning:leave_remove", args=[member.pk, leave.pk])).status_code == 404
    assert Event.objects.filter(verb__startswith="leave").count() == 2


@pytest.mark.parametrize(
    ("said", "line"),
    [
        ({"first": "2026-05-04", "last": "2026-05-01"}, "must not be before the first"),
        ({"first": "soon", "last": "2026-05-01"}, "Enter a valid date"),
        ({}, "This field is required"),
    ],
)
def test_leave_that_ends_before_it_begins_is_refused_in_place(head, said, line):
    member = checklists.a_member()
    response = head.post(reverse("planning:leave_add", args=[member.pk]), said)
    assert response.status_code == 422 and line in text(response) and not Leave.objects.exists()


def test_one_persons_leave_is_not_taken_out_through_another(head):
    ann, ben = checklists.a_member(), checklists.a_member("Ben")
    leave = Leave.objects.create(staff=ann, first=date(2026, 5, 1), last=date(2026, 5, 1))
    assert head.post(reverse("planning:leave_remove", args=[ben.pk, leave.pk])).status_code == 404
    assert head.post(reverse("planning:leave_remove", args=[ben.pk, 10**30])).status_code == 404
    assert Leave.objects.exists()


def test_a_day_off_for_everybody_is_kept_once(head):
    said = {"date": checklists.in_days(30), "name": "Museum night"}
    for _ in range(2):
        head.post(reverse("planning:holiday_add"), said)
    day = Holiday.objects.get()
    assert "Museum night" in text(head.get(STAFF))
    head.post(reverse("planning:holiday_remove", args=[day.pk]))
    assert not Holiday.objects.exists()
    assert head.post(reverse("planning:holiday_remove", args=[day.pk])).status_code == 404
    assert head.post(reverse("planning:holiday_add"), {"date": "never"}).status_code == 422


def test_benches_are_one_of_each_until_somebody_says(head):
    assert selectors.workplaces() == {"hood": 1, "bench": 1}
    head.post(reverse("planning:benches"), {"hood": "3", "bench": "1"})
    assert selectors.workplaces() == {"hood": 3, "bench": 1}
    event = Event.objects.get(verb="count changed")
    assert (event.was, event.became) == ({"count": 1}, {"count": 3})


@pytest.mark.parametrize("said", [{"hood": "-1", "bench": "1"}, {"hood": "51", "bench": "1"}, {"hood": "two"}, {}])
def test_benches_that_cannot_be_are_refused(head, said):
    assert head.post(reverse("planning:benches"), said).status_code == 422 and not Workplace.objects.exists()


@pytest.mark.parametrize("who", ["reader", "surveyor", "conservator"])
def test_only_the_head_changes_staff_and_everybody_may_look(request, who):
    client, member = request.getfixturevalue(who), checklists.a_member()
    leave = Leave.objects.create(staff=member, first=date(2026, 5, 1), last=date(2026, 5, 1))
    page = client.get(STAFF)
    assert (
        page.status_code == 200
        and "Add a person" not in text(page)
        and "1 fume hood, 1 photography bench" in text(page)
    )
    for name, args in [
        ("member_new", []), ("member", [member.pk]), ("member_remove", [member.pk]), ("leave_add", [member.pk]),
        ("leave_remove", [member.pk, leave.pk]), ("holiday_add", []), ("holiday_remove", [1]), ("benches", []),
    ]:  # fmt: skip
        assert client.post(reverse(f"planning:{name}", args=args), {}).status_code == 403


def test_a_staff_list_of_fifty_costs_as_many_queries_as_one(head):
    def count():
        with CaptureQueriesContext(connection) as made:
            assert head.get(STAFF).status_code == 200
        return len(made)

    checklists.a_member()
    count()
    one = count()
    for number in range(49):
        member = checklists.a_member(f"Person {number}")
        Leave.objects.create(staff=member, first=checklists.today(), last=checklists.in_days(3))
        Holiday.objects.create(date=checklists.in_days(number))
    assert count() == one


def test_who_has_left_is_marked_and_not_counted(head):
    checklists.a_member(works_to=checklists.in_days(-1))
    checklists.a_member("Ben", works_from=checklists.in_days(9))
    page = text(head.get(STAFF))
    assert "until" in page and "from" in page and "<strong>0 h</strong>" in page.replace("under ¼ h", "0 h")


def test_leave_days_off_and_dates_of_employment_take_hours_away(db):
    monday = monday_of(checklists.today()) + timedelta(weeks=1)
    ann = checklists.a_member(bench_share=1.0)
    checklists.a_member("Ben", bench_share=0.5, works_to=monday + timedelta(days=1))
    Leave.objects.create(staff=ann, first=monday, last=monday + timedelta(days=1))
    Holiday.objects.create(date=monday + timedelta(days=2))
    there = selectors.department(monday, 2)
    # First week: Ann Thursday and Friday, Ben Monday and Tuesday at half; second week: Ann alone, five days.
    assert there.hours_per_week() == [pytest.approx(2 * 7.5 + 2 * 3.75), pytest.approx(5 * 7.5)]
    assert selectors.missing_skills(there, {"join", "weave"}) == ["weave"]


def test_somebody_who_is_away_all_the_time_brings_no_skill(db):
    monday = monday_of(checklists.today())
    away = checklists.a_member(skills=["retouch"])
    Leave.objects.create(staff=away, first=monday, last=monday + timedelta(weeks=9))
    checklists.a_member("Ben", skills=["join"])
    assert selectors.missing_skills(selectors.department(monday, 4), {"retouch", "join"}) == ["retouch"]
