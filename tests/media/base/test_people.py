"""Who may sign in: added, changed and ended by the head, with one head always left."""

from __future__ import annotations

import pytest

from media.base.models import Event, Role, User
from tests.builders import a_person

WORDS = "kiln harbour slip nine"
NEW = {"first_name": "Ilse", "last_name": "Tarn", "username": "ilse", "role": "surveyor", "password": WORDS}


def signs_in(client, username: str, password: str) -> bool:
    return client.post("/sign-in/", {"username": username, "password": password}).status_code == 302


def test_the_head_lets_somebody_sign_in(head, client):
    assert head.post("/people/new/", NEW).status_code == 302
    made = User.objects.get(username="ilse")
    assert (made.role, made.shown, made.is_active) == ("surveyor", "Ilse Tarn", True)
    assert signs_in(client, "ilse", WORDS)
    event = Event.objects.get(verb="may sign in")
    assert event.became["role"] == "surveyor" and WORDS not in str(event.became)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"username": "ILSE"}, "signs in as ILSE already"),
        ({"password": "short"}, "at least 12 characters"),
        ({"password": "password1234"}, "too common"),
        ({"username": "two words"}, "valid"),
        ({"role": "king"}, "not one of the available choices"),
        ({"first_name": ""}, "required"),
    ],
)
def test_what_cannot_be_is_refused_in_place(head, change, said):
    a_person(username="ilse")
    answer = head.post("/people/new/", {**NEW, "username": "other", **change})
    assert answer.status_code == 422 and said in answer.content.decode()
    assert User.objects.count() == 2


def test_a_role_is_changed_and_a_right_to_sign_in_ended(head, client):
    row = a_person(username="ann", first_name="Ann", last_name="Reef")
    head.post(f"/people/{row.pk}/", {"first_name": "Ann", "last_name": "Reef", "role": "reader"})
    row.refresh_from_db()
    assert row.role == Role.READER and not row.is_active
    assert Event.objects.get(verb="changed").was == {"role": "conservator", "is_active": True}


def test_the_last_head_stays(head):
    row = User.objects.get(role=Role.HEAD)
    for change in ({"role": "reader", "is_active": "on"}, {"role": "head"}):
        answer = head.post(f"/people/{row.pk}/", {"first_name": "A", "last_name": "B", **change})
        assert answer.status_code == 422 and "name another one" in answer.content.decode()
    row.refresh_from_db()
    assert row.role == Role.HEAD and row.is_active


def test_a_new_password_counts_and_the_record_keeps_no_word_of_it(head, client):
    row = a_person(username="ann")
    head.post(f"/people/{row.pk}/password/", {"password": "quay glaze tile seven"})
    assert signs_in(client, "ann", "quay glaze tile seven")
    assert Event.objects.get(verb="has a new password").became is None


def test_people_change_their_own_password_by_saying_the_old_one(reader):
    row = User.objects.get()
    row.set_password("first words of ours")
    row.save()
    reader.force_login(row)
    new = {"new_password1": "other words of ours", "new_password2": "other words of ours"}
    assert reader.post("/password/", {"old_password": "wrong", **new}).status_code == 422
    assert reader.post("/password/", {"old_password": "first words of ours", **new}).status_code == 302
    row.refresh_from_db()
    assert row.check_password("other words of ours")
    assert reader.get("/").status_code == 200, "still signed in"


@pytest.mark.parametrize("path", ["/people/", "/people/new/", "/people/1/", "/people/1/password/"])
def test_only_the_head_keeps_people(conservator, path):
    assert conservator.get(path).status_code == 403


def test_the_list_costs_the_same_for_many(head, django_assert_num_queries):
    def queries() -> int:
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as found:
            assert head.get("/people/").status_code == 200
        return len(found)

    few = queries()
    for _ in range(50):
        a_person()
    assert queries() == few


def test_whoever_sets_it_up_is_its_head(db):
    assert User.objects.create_superuser("first", password="x").role == Role.HEAD
