"""Photographs as a browser meets them."""

import io

import pytest
from django.test import Client
from PIL import Image

from media.photographs.db.selectors import stored
from media.photographs.db.services import receive
from tests.builders import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def photograph():
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (90, 120, 160)).save(out, "PNG")
    return receive(out.getvalue(), by=None, at=NOW)


def address(photograph, kind):
    return f"/photographs/{photograph.sha256}/{kind}/"


@pytest.mark.parametrize(("kind", "media_type"), [("screen", "image/jpeg"), ("thumb", "image/webp")])
def test_smaller_copies_are_shown_kept_by_the_browser_and_never_guessed_at(reader, photograph, kind, media_type):
    response = reader.get(address(photograph, kind))
    assert response.status_code == 200
    assert response["Content-Type"] == media_type
    assert "attachment" not in response["Content-Disposition"]
    assert "immutable" in response["Cache-Control"]
    assert "private" in response["Cache-Control"]
    assert response["X-Content-Type-Options"] == "nosniff"


def test_the_original_is_saved_and_not_shown(reader, photograph):
    response = reader.get(address(photograph, "original"))
    assert response["Content-Disposition"].startswith("attachment")
    assert b"".join(response.streaming_content) == stored(photograph, "original").path.read_bytes()


def test_what_the_browser_has_is_not_sent_again(reader, photograph):
    tag = reader.get(address(photograph, "thumb"))["ETag"]
    assert reader.get(address(photograph, "thumb"), headers={"If-None-Match": tag}).status_code == 304


def test_nobody_sees_a_photograph_without_signing_in(photograph):
    for kind in ("screen", "thumb", "original"):
        response = Client().get(address(photograph, kind))
        assert response.status_code == 302
        assert "sign-in" in response["Location"]
        assert "immutable" not in response.get("Cache-Control", "")


@pytest.mark.parametrize("where", ["0" * 64 + "/screen", "..%2f..%2fsecret-key/original", "x/thumb"])
def test_an_address_without_a_photograph_says_so(reader, where):
    assert reader.get(f"/photographs/{where}/").status_code == 404


def test_a_kind_that_is_not_kept_says_so(reader, photograph):
    assert reader.get(address(photograph, "huge")).status_code == 404


def test_a_lost_copy_is_made_again_from_the_original(reader, photograph):
    stored(photograph, "thumb").path.unlink()
    assert reader.get(address(photograph, "thumb")).status_code == 200


def test_a_lost_original_is_said_to_be_lost(reader, photograph):
    stored(photograph, "original").path.unlink()
    assert reader.get(address(photograph, "original")).status_code == 404


def test_photographs_are_only_read(reader, photograph):
    assert reader.post(address(photograph, "thumb")).status_code == 405
