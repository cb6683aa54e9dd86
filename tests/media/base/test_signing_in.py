"""Signing in and out, and what ten wrong passwords do."""

from __future__ import annotations

import pytest
from django.test import Client
from django.utils import timezone

from media.base.models import Role, User
from treatments.options.db import services as options

PASSWORD = "glaze and slip, 3 jars"


@pytest.fixture
def ann(db):
    options.ensure_levels(at=timezone.now())
    return User.objects.create_user("ann", password=PASSWORD, role=Role.SURVEYOR)


def sign_in(client: Client, password: str = PASSWORD, *, name: str = "ann", **fields):
    return client.post("/sign-in/", {"username": name, "password": password} | fields)


def text(response) -> str:
    return response.content.decode()


def test_the_page_asks_who_is_there_and_shows_no_way_in(client, db):
    page = text(client.get("/sign-in/"))
    assert "Who is at the bench?" in page and "Sign out" not in page and 'href="/register/"' not in page


def test_the_right_password_leads_on_to_the_page_that_was_asked_for(client, ann):
    asked = client.get("/places/")
    assert asked["Location"] == "/sign-in/?next=/places/"
    page = text(client.get(asked["Location"]))
    assert 'name="next" value="/places/"' in page
    assert sign_in(client, next="/places/")["Location"] == "/places/"
    assert sign_in(Client())["Location"] == "/"


@pytest.mark.parametrize(
    "elsewhere", ["https://example.org/", "//example.org/", "javascript:alert(1)", "\\\\example.org"]
)
def test_nobody_is_led_to_another_site(client, ann, elsewhere):
    assert sign_in(client, next=elsewhere)["Location"] == "/"


def test_whoever_is_signed_in_is_not_asked_again(client, ann):
    sign_in(client)
    assert client.get("/sign-in/")["Location"] == "/"


@pytest.mark.parametrize(("name", "password"), [("ann", "wrong"), ("nobody", PASSWORD), ("", ""), ("ann", "x" * 5_000)])
def test_a_wrong_name_or_password_is_refused_alike(client, ann, name, password):
    response = sign_in(client, password, name=name)
    said = "Please enter a correct username and password" if name else "This field is required"
    assert response.status_code == 200 and said in text(response)
    assert "_auth_user_id" not in client.session


def test_somebody_who_has_left_cannot_sign_in(client, ann):
    User.objects.filter(pk=ann.pk).update(is_active=False)
    sign_in(client)
    assert "_auth_user_id" not in client.session


def test_signing_out_ends_the_session_and_needs_a_press(client, ann):
    sign_in(client)
    assert client.get("/sign-out/").status_code == 405 and client.get("/").status_code == 200
    assert client.post("/sign-out/")["Location"] == "/sign-in/"
    assert client.get("/")["Location"].startswith("/sign-in/")


def test_after_ten_wrong_passwords_one_plain_line_says_to_wait_even_with_the_right_one(client, ann):
    answers = [sign_in(client, f"wrong {n}") for n in range(10)]
    assert [answer.status_code for answer in answers[:9]] == [200] * 9
    assert answers[9].status_code == 429
    for answer in (answers[9], sign_in(client)):
        page = text(answer)
        assert answer.status_code == 429 and "Wait a quarter of an hour" in page and "Nothing is lost" in page
    assert "_auth_user_id" not in client.session


def test_nobody_locks_a_colleague_out_from_another_machine(client, ann):
    for n in range(11):
        client.post("/sign-in/", {"username": "ann", "password": f"wrong {n}"}, REMOTE_ADDR="10.0.0.9")
    assert sign_in(Client())["Location"] == "/"


def test_a_success_forgets_the_mistakes_before_it_only_for_who_made_it(client, ann):
    for n in range(9):
        sign_in(client, f"wrong {n}")
    assert sign_in(client)["Location"] == "/"
    other = User.objects.create_user("ben", password=PASSWORD)
    assert sign_in(Client(), name=other.username)["Location"] == "/"


def test_a_watcher_learns_that_the_server_answers_and_nothing_else(client, db, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert client.get("/alive/").json() == {"alive": True}


def test_a_form_from_elsewhere_is_refused(ann):
    strict = Client(enforce_csrf_checks=True)
    assert sign_in(strict).status_code == 403
