"""Taking photographs in."""

import hashlib
import io
import os

import pytest
from django.conf import settings
from PIL import Image

from media.base.models import Event
from media.photographs.db import services
from media.photographs.db.models import Photograph
from media.photographs.db.selectors import stored
from media.photographs.db.services import NotAPhotograph, receive
from tests.builders import NOW, a_person

pytestmark = pytest.mark.django_db


def a_jpeg(size=(2000, 1500), colour=(180, 130, 90), **options) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG", **options)
    return out.getvalue()


def files() -> list[str]:
    return sorted(path.name for path in settings.MEDIA_ROOT.rglob("*") if path.is_file())


def test_the_original_is_kept_byte_for_byte_under_its_hash():
    data = a_jpeg()
    photograph = receive(io.BytesIO(data), by=a_person(), at=NOW)
    assert photograph.sha256 == hashlib.sha256(data).hexdigest()
    assert stored(photograph, "original").path.read_bytes() == data
    assert (photograph.kind, photograph.width, photograph.height) == ("jpeg", 2000, 1500)


@pytest.mark.parametrize("size", [(4000, 3000), (2000, 1500), (330, 3000)])
def test_the_smallest_copy_is_made_at_once_and_the_others_when_somebody_looks(size):
    photograph = receive(a_jpeg(size), by=None, at=NOW)
    with Image.open(stored(photograph, "thumb").path) as made:
        assert max(made.size) == 320
    assert not stored(photograph, "screen").path.exists()
    services.make_renditions(photograph)
    with Image.open(stored(photograph, "screen").path) as made:
        assert max(made.size) == min(1600, max(size))


def test_the_same_photograph_twice_is_kept_once():
    first, second = receive(a_jpeg(), by=None, at=NOW), receive(a_jpeg(), by=a_person(), at=NOW)
    assert first == second
    assert Photograph.objects.count() == 1
    assert Event.objects.filter(verb="received").count() == 1
    assert len(files()) == 2


def test_a_lost_file_comes_back_when_the_photograph_is_sent_again():
    photograph = receive(a_jpeg(), by=None, at=NOW)
    stored(photograph, "original").path.unlink()
    receive(a_jpeg(), by=None, at=NOW)
    assert stored(photograph, "original").path.exists()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"%PDF-1.7",
        b"GIF89a" + bytes(40),
        a_jpeg()[:400],
        a_jpeg(comment=b"<script>alert(1)</script>"),
        b"\x89PNG\r\n\x1a\n" + bytes(200),
    ],
    ids=["empty", "svg", "pdf", "gif", "broken off", "script inside", "no png"],
)
def test_what_is_no_photograph_is_refused_in_one_line_and_leaves_nothing(data):
    with pytest.raises(NotAPhotograph) as refused:
        receive(data, by=None, at=NOW)
    assert "\n" not in refused.value.message
    assert not Photograph.objects.exists()
    assert files() == []


def test_a_write_that_breaks_off_leaves_no_row_and_no_half_file(monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(services.os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        receive(a_jpeg(), by=None, at=NOW)
    assert not Photograph.objects.exists()
    assert files() == []
    monkeypatch.undo()
    receive(a_jpeg(), by=None, at=NOW)
    assert len(files()) == 2


def test_a_file_is_safe_on_disk_before_it_gets_its_name(monkeypatch):
    order = []
    fsync, replace = os.fsync, type(settings.MEDIA_ROOT).replace
    monkeypatch.setattr(services.os, "fsync", lambda handle: (order.append("sync"), fsync(handle)))
    monkeypatch.setattr(
        type(settings.MEDIA_ROOT), "replace", lambda self, target: (order.append("name"), replace(self, target))[1]
    )
    receive(a_jpeg(), by=None, at=NOW)
    assert order == ["sync", "name", "sync"] * 2
