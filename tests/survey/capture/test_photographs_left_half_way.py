"""A server that died between the last piece of a photograph and its keeping: the next piece, any, brings it home."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth import get_user_model

from survey.models import ObjectPhotograph
from tests.builders import an_object
from tests.survey.capture.tablets import Tablet
from tests.survey.capture.test_speaking_to_tablets import a_jpeg, put, send

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("spoilt", [False, True], ids=["whole", "other bytes"])
def test_a_photograph_that_is_all_there_and_not_kept_comes_home(surveyor, spoilt):
    data = a_jpeg()
    name = hashlib.sha256(data).hexdigest()
    tablet = Tablet(get_user_model().objects.get(pk=surveyor.session["_auth_user_id"]))
    send(surveyor, tablet.assesses(an_object(), photographs={name: "Front"}))
    left = Path(settings.UPLOADS) / "tablets" / f"{name}.part"
    left.parent.mkdir(parents=True)
    left.write_bytes(bytes(len(data)) if spoilt else data)
    assert surveyor.get(f"/capture/photographs/{name}/").json() == {"offset": len(data), "complete": False}
    answer = put(surveyor, data, stop=500)
    if spoilt:
        assert (answer.status_code, answer.json()["offset"]) == (409, 0)
        answer = put(surveyor, data)
    assert answer.json() == {"offset": len(data), "complete": True}
    assert ObjectPhotograph.objects.get().photograph_id == name and not left.exists()
