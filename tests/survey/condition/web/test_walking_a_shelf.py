"""Walking along shelves: what is left, what comes next, what is found where it should not be."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from survey.condition.db.models import Assessment, SurveyRound
from survey.register.db.models import Object
from survey.register.deciding import number_key
from tests.builders import a_place, a_round, an_assessment, an_object

pytestmark = pytest.mark.django_db


def a_shelf_of(count, **fields):
    shelf = a_place(**fields)
    return shelf, [an_object(place=shelf) for _ in range(count)]


def page(client, name, **kwargs):
    response = client.get(reverse(f"condition:{name}", kwargs=kwargs))
    assert response.status_code == 200
    return response.content.decode()


def test_without_a_round_the_page_says_what_to_do_first(surveyor):
    assert "Start one" in page(surveyor, "survey")


def test_a_round_is_started_with_its_purpose_and_the_definitions_of_the_day(surveyor):
    response = surveyor.post(
        reverse("condition:start_round"), {"name": "Store 2", "purpose": "Opening", "started_on": "2026-03-02"}
    )
    assert response.status_code == 302
    made = SurveyRound.objects.get()
    assert (made.purpose, made.started_on, made.definitions) == ("Opening", date(2026, 3, 2), 1)


def test_a_name_given_twice_is_refused_and_what_was_typed_stays(surveyor):
    a_round(name="Store 2")
    response = surveyor.post(
        reverse("condition:start_round"), {"name": "Store 2", "purpose": "Long words", "started_on": "2026-03-02"}
    )
    assert response.status_code == 422
    assert "already a round" in response.content.decode()
    assert "Long words" in response.content.decode()


def test_a_round_is_ended_only_after_asking(surveyor):
    chosen = a_round()
    address = reverse("condition:end_round", kwargs={"pk": chosen.pk})
    assert "no more can be added" in surveyor.get(address).content.decode()
    chosen.refresh_from_db()
    assert chosen.ended_on is None
    surveyor.post(address)
    chosen.refresh_from_db()
    assert chosen.ended_on


def test_shelves_still_to_do_come_first_and_done_ones_are_left_out(surveyor):
    chosen = a_round()
    _, [looked_at] = a_shelf_of(1, name="Done shelf")
    a_shelf_of(2, name="Open shelf")
    an_assessment(looked_at, round=chosen)
    html = page(surveyor, "survey")
    assert "Open shelf" in html
    assert "Done shelf" not in html
    assert "<strong>1 of 3</strong>" in html
    assert "Done shelf" in surveyor.get(reverse("condition:survey"), {"show": "all"}).content.decode()


def test_an_older_round_does_not_count_in_this_one(surveyor):
    shelf, [jar] = a_shelf_of(1)
    an_assessment(jar, round=a_round(started_on=date(2020, 1, 1), ended_on=date(2020, 2, 1)))
    a_round()
    assert "0 of 1 looked at" in page(surveyor, "shelf", pk=shelf.pk)


def test_objects_in_trays_are_met_on_their_shelf(surveyor):
    shelf = a_place()
    jar = an_object(place=a_place(kind="tray", parent=shelf))
    assert jar.number in page(surveyor, "shelf", pk=shelf.pk)
    assert "0 of 1 looked at" in page(surveyor, "survey")


def test_an_empty_shelf_says_so(surveyor):
    assert "Nothing in the register stands here" in page(surveyor, "shelf", pk=a_place().pk)


def test_an_object_that_is_not_on_the_list_is_looked_up_and_moved_when_frozen(surveyor):
    a_round()
    here, belongs = a_place(), a_place()
    stray = an_object(place=belongs, number="K 9", number_key=number_key("K 9"))
    response = surveyor.get(reverse("condition:found_here", kwargs={"pk": here.pk}), {"number": " k  9"})
    assert response["Location"].endswith(f"?at={here.pk}")
    assert "It stands here" in surveyor.get(response["Location"]).content.decode()
    where = {"at": str(here.pk)}
    address = reverse("condition:answer", kwargs={"pk": stray.pk})
    surveyor.post(address, {"found": "elsewhere", "place_found": str(here.pk)} | where)
    surveyor.post(reverse("condition:unremarkable", kwargs={"pk": stray.pk}), where)
    surveyor.post(reverse("condition:next_object", kwargs={"pk": stray.pk}), where)
    assert Assessment.objects.get().found == "elsewhere"
    assert Object.objects.get().place == here


def test_a_number_that_is_not_in_the_register_says_so(surveyor):
    shelf = a_place()
    response = surveyor.get(reverse("condition:found_here", kwargs={"pk": shelf.pk}), {"number": "K <b>9"}, follow=True)
    assert "No object in the register has the number “K &lt;b&gt;9”" in response.content.decode()


def test_a_shelf_shows_stages_and_what_must_not_be_lifted(surveyor):
    shelf = a_place()
    jar = an_object(place=shelf, joints=1)
    joint = jar.restorations.get().joints.get()
    an_assessment(jar, round=a_round(), stages={joint: 3}, handling="do_not_lift")
    assert "do not lift" in page(surveyor, "shelf", pk=shelf.pk)


def test_a_reader_sees_shelves_but_cannot_assess(reader):
    shelf, [jar] = a_shelf_of(1)
    html = page(reader, "shelf", pk=shelf.pk)
    assert jar.number in html
    assert f"/survey/object/{jar.pk}/" not in html


@pytest.mark.parametrize("name", ["survey", "shelf"])
def test_pages_take_the_same_queries_for_one_object_and_for_fifty(surveyor, name, django_assert_num_queries):
    chosen = a_round()
    shelf, [first] = a_shelf_of(1)
    address = reverse("condition:shelf", kwargs={"pk": shelf.pk}) if name == "shelf" else reverse("condition:survey")
    an_assessment(first, finished=False, round=chosen)

    def count():
        with CaptureQueriesContext(connection) as captured:
            assert surveyor.get(address).status_code == 200
        return len(captured)

    count()  # the session is written once
    one = count()
    for _ in range(12):
        _, jars = a_shelf_of(4)
        for jar in jars:
            an_assessment(jar, round=chosen, finished=False)
    for _ in range(49):
        jar = an_object(place=shelf, joints=2)
        joints = jar.restorations.get().joints.all()
        an_assessment(jar, round=chosen, stages=dict.fromkeys(joints, 2), finished=False)
    assert count() == one
