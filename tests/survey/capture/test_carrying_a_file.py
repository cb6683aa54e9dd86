"""A tablet's outbox in a file: taken in as if it had been sent, and hostile files kept out whole."""

from __future__ import annotations

import hashlib
import io
import json
import struct
import zipfile

import pytest
from django.contrib.auth import get_user_model
from django.core.files.uploadedfile import SimpleUploadedFile

from survey.models import Assessment, ObjectPhotograph, Operation
from tests.builders import an_object
from tests.survey.capture.tablets import Tablet
from tests.survey.capture.test_speaking_to_tablets import a_jpeg

pytestmark = pytest.mark.django_db


@pytest.fixture
def me(surveyor):
    return get_user_model().objects.get(pk=surveyor.session["_auth_user_id"])


def a_file(manifest, photographs=(), **more) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("manifest.json", json.dumps(manifest) if isinstance(manifest, dict) else manifest)
        for data in photographs:
            archive.writestr(f"photographs/{hashlib.sha256(data).hexdigest()}", data)
        for name, data in more.items():
            archive.writestr(name.replace("__", "/"), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def a_manifest(tablet, *operations, **more):
    return {
        "schema_version": 1, "device": tablet.id, "name": "Tablet 2", "sent_at": "2026-03-02T18:00:00Z",
        "operations": list(operations),
    } | more  # fmt: skip


def load(client, data):
    return client.post("/capture/load/", {"file": SimpleUploadedFile("t.zip", data)})


def test_a_file_is_taken_in_once_however_often_it_is_loaded(surveyor, me):
    tablet, picture = Tablet(me), a_jpeg()
    name = hashlib.sha256(picture).hexdigest()
    told = [tablet.assesses(an_object(), photographs={name: "Front"}), tablet.assesses(an_object())]
    data = a_file(a_manifest(tablet, *told), [picture])
    for _ in range(2):
        answer = load(surveyor, data)
        assert answer.status_code == 200
        assert "1 photograph came in it" in " ".join(answer.content.decode().split())
    assert Assessment.objects.count() == 2 and ObjectPhotograph.objects.count() == 1


def with_a_false_size(data: bytes) -> bytes:
    """A directory that says an entry is a gigabyte."""
    at = data.rindex(b"PK\x01\x02")
    return data[: at + 24] + struct.pack("<I", 2**30) + data[at + 28 :]


@pytest.mark.parametrize(
    "kind", ["no zip", "cut", "bomb", "another name", "no manifest", "words", "false size", "path"]
)
def test_a_file_that_no_tablet_made_is_refused_whole(surveyor, me, kind):
    tablet = Tablet(me)
    manifest = a_manifest(tablet, tablet.assesses(an_object()))
    good = a_file(manifest)
    data = {
        "no zip": b"GIF89a" + b"0" * 100, "cut": good[: len(good) // 2],
        "bomb": a_file(manifest, **{"photographs__" + "a" * 64: b"0" * 19_000_000}),
        "another name": a_file(manifest, readme="hello"), "no manifest": a_file(b"[]"),
        "words": a_file(a_manifest(tablet, sent_at="yesterday")), "false size": with_a_false_size(good),
        "path": a_file(manifest, **{"..__..__" + "a" * 64: b"x"}),
    }[kind]  # fmt: skip
    answer = load(surveyor, data)
    assert answer.status_code == 422 and "Nothing was loaded" in answer.content.decode()
    assert Operation.objects.count() == 0


def test_what_is_no_photograph_is_told_and_the_rest_kept(surveyor, me):
    tablet = Tablet(me)
    answer = load(surveyor, a_file(a_manifest(tablet, tablet.assesses(an_object())), [b"no photograph"]))
    assert answer.status_code == 200 and "could not be kept" in answer.content.decode()
    assert Assessment.objects.count() == 1
