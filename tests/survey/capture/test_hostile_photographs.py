"""Files that are no photographs, sent as from a tablet: each refused with a reason, kept out, its assessment kept."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth import get_user_model

from media.photographs.db.models import Photograph
from survey.capture.operations import MOST_PHOTOGRAPHS
from survey.models import Assessment, ObjectPhotograph, PhotographWanted
from tests.builders import an_object
from tests.media.photographs.core import photograph_corpus as corpus
from tests.survey.capture.tablets import Tablet
from tests.survey.capture.test_speaking_to_tablets import a_jpeg, put, send

HOSTILE = [data for data in (*corpus.bombs().values(), *corpus.impostors().values()) if data]


@pytest.mark.django_db
def test_bombs_impostors_and_broken_files_are_kept_out_and_nothing_said_is_lost(surveyor):
    tablet = Tablet(get_user_model().objects.get(pk=surveyor.session["_auth_user_id"]))
    good = a_jpeg()
    files = list({hashlib.sha256(data).hexdigest(): data for data in HOSTILE}.values())
    assert len(files) >= 55
    for first in range(0, len(files), MOST_PHOTOGRAPHS - 1):
        some = [*files[first : first + MOST_PHOTOGRAPHS - 1], good]
        views = {hashlib.sha256(data).hexdigest(): "Front" for data in some}
        [answer] = send(surveyor, tablet.assesses(an_object(), photographs=views)).json()["results"]
        assert answer["status"] == "applied" and len(answer["photographs"]) >= len(some) - 1
        for data in some:
            told = put(surveyor, data)
            assert told.status_code == (200 if data is good else 422), told.content
            assert data is good or told.json()["error"].endswith(".")
    assert [each.pk for each in Photograph.objects.all()] == [hashlib.sha256(good).hexdigest()]
    assert Assessment.objects.filter(finished_at=None).count() == 0
    assert ObjectPhotograph.objects.count() == Assessment.objects.count() >= 2
    assert PhotographWanted.objects.filter(attached_at=None, refused="").count() == 0
    kept = [
        path for path in (*Path(settings.MEDIA_ROOT).rglob("*"), *Path(settings.UPLOADS).rglob("*")) if path.is_file()
    ]
    assert {path.stem for path in kept} == {hashlib.sha256(good).hexdigest()}
