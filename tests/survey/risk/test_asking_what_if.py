"""What if it were treated, its adhesive proved, or it did not travel: answered at once, nothing written."""

from __future__ import annotations

import pytest

from media.base.errors import NotThere
from survey.models import ChecklistEntry, ObjectDraws, ObjectRisk
from survey.risk.db import services
from survey.risk.db.selectors.asking import STAYS, what_if
from tests import builders
from tests.survey.risk import scores
from tests.survey.risk.test_scoring_what_is_shared import restored


@pytest.fixture
def run(db, django_capture_on_commit_callbacks):
    exhibition = builders.an_exhibition()
    for n, use in enumerate(["travels", "case", ""]):
        thing, _ = restored(joints=3, stage=2)
        if use:
            builders.an_entry(exhibition, thing, use=use, importance=5 - n)
    with django_capture_on_commit_callbacks(execute=True):
        made, _ = services.start_run(by=None, at=builders.NOW)
    made.refresh_from_db()
    return made


@pytest.fixture
def traveller(run):
    return ObjectRisk.objects.get(run=run, rank_by_weighted=1)


def test_as_it_stands_is_the_score_of_the_run(run, traveller):
    found = what_if(run, traveller.object_id)
    for then in (found.now, found.then):
        assert then.chance == pytest.approx(traveller.before_opening, rel=1e-9)
        assert (then.low, then.high) == pytest.approx(
            (traveller.before_opening_low, traveller.before_opening_high), abs=1e-6
        )
        assert then.loss == pytest.approx(traveller.loss, rel=1e-9)
        assert then.rank == 1


@pytest.mark.parametrize(
    "change", [{"treated": "all"}, {"treated": "worst"}, {"use": "case"}, {"use": STAYS}, {"adhesive": "epoxy"}]
)
def test_each_change_lowers_the_chance(run, traveller, change):
    found = what_if(run, traveller.object_id, **change)
    assert found.then.chance < found.now.chance
    assert found.then.low <= found.then.chance <= found.then.high


def test_treated_throughout_it_comes_last_and_is_sure_to_hold(run, traveller):
    found = what_if(run, traveller.object_id, treated="all", use=STAYS)
    assert found.then.rank == 3 and found.then.chance < 0.01


def test_it_is_what_scoring_then_says(run, traveller, django_capture_on_commit_callbacks):
    """Not travelling, once the checklist says so."""
    asked = what_if(run, traveller.object_id, use="case").then
    ChecklistEntry.objects.filter(object=traveller.object_id).update(use="case")
    with django_capture_on_commit_callbacks(execute=True):
        new, _ = services.start_run(by=None, at=builders.NOW)
    row = ObjectRisk.objects.get(run=new, object=traveller.object_id)
    assert asked.chance == pytest.approx(row.before_opening, rel=1e-9) and asked.rank == row.rank_by_weighted


def test_nothing_is_written(run, traveller, reader):
    before = list(ObjectRisk.objects.order_by("pk").values()), ObjectDraws.objects.count()
    page = reader.get(f"/ranking/objects/{traveller.object_id}/what-if/?treated=all").content.decode()
    assert "As asked" in page and "instead of" in page
    assert (list(ObjectRisk.objects.order_by("pk").values()), ObjectDraws.objects.count()) == before


def test_the_objects_page_asks_and_the_answer_comes_as_a_part(run, traveller, reader):
    page = reader.get(f"/ranking/objects/{traveller.object_id}/").content.decode()
    assert "What if?" in page and "Not moved at all" in page
    part = reader.get(
        f"/ranking/objects/{traveller.object_id}/what-if/?use=stays", headers={"HX-Request": "true"}
    ).content.decode()
    assert "As asked" in part and "<html" not in part


@pytest.mark.parametrize("query", ["adhesive=honey", "treated=some", "use=thrown"])
def test_what_the_form_does_not_offer_is_refused(run, traveller, reader, query):
    answer = reader.get(f"/ranking/objects/{traveller.object_id}/what-if/?{query}")
    assert answer.status_code == 400 and "Choose again from the form" in answer.content.decode()


def test_it_cannot_be_asked_of_what_is_not_scored_or_of_an_old_run(run, traveller):
    with pytest.raises(NotThere):
        what_if(run, builders.an_object().pk)
    old = scores.a_run()
    scores.a_score(old, traveller.object)
    with pytest.raises(NotThere):
        what_if(old, traveller.object_id)
