"""What to look at next: worked out after a run, shown, filtered, saved, and kept off what must not be tested."""

from __future__ import annotations

import csv
import html
import io
import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from media.base import jobs
from media.base.models import Job, JobState
from survey.models import AdhesiveEvidence, Joint, NextList, NextStep
from survey.risk.db import services
from survey.risk.db.selectors import looking_next as reading
from tests import builders
from tests.survey.risk import scores

PAGE = "/ranking/next/"
TOUCHING = {"solvent", "nitrate_test", "protein_test", "ftir"}


def text(response) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def shown(response) -> list[str]:
    return re.findall(r'<span class="next-thing"><span><strong><a [^>]*>(.*?)</a>', response.content.decode())


def a_list(run=None, **fields) -> NextList:
    return NextList.objects.create(run=run or scores.a_run(), **({"made_at": builders.NOW} | fields))


def a_step(of: NextList, thing=None, **fields) -> NextStep:
    values = {
        "object": thing or builders.an_object(), "kind": "look", "best": True, "rate": 1.0, "worth": 8.0,
        "changes": 0.4, "minutes": 8.0, "failing": 0.3, "text": "1 joint has not been looked at.",
    } | fields  # fmt: skip
    return NextStep.objects.create(list=of, **values)


@pytest.fixture
def worked_out(db, django_capture_on_commit_callbacks):
    """A scoring and the list that follows it."""

    def run(exhibition=None) -> NextList:
        with django_capture_on_commit_callbacks(execute=True):
            services.start_run(by=None, at=builders.NOW, exhibition=exhibition)
        job = Job.objects.filter(name="survey.risk.look_next").order_by("-asked_at").first()
        if job.state == JobState.QUEUED:
            jobs.run(job.pk)
            job.refresh_from_db()
        assert job.state == JobState.DONE, job.error
        return NextList.objects.get()

    return run


def restored(stage: int | None = None, **fields):
    thing = builders.an_object(**{"joints": 1, "height_mm": 300, "width_mm": 200} | fields)
    joint = Joint.objects.get(restoration__object=thing)
    joint.restoration.year_earliest = joint.restoration.year_latest = 1955
    joint.restoration.save()
    if stage is not None:
        builders.an_assessment(thing, stages={joint: stage}, old_restoration="present")  # today
    return thing


def a_room(*stages: int):
    """A room with a shelf, on which looks found one joint in each of these stages."""
    room = builders.a_place(kind="room")
    shelf = builders.a_place(parent=room)
    for stage in stages:
        restored(stage, place=shelf)
    return shelf


def test_a_list_is_worked_out_after_every_scoring(worked_out):
    unseen, seen = restored(place=builders.a_place()), restored(1)
    made = worked_out(builders.an_exhibition())
    looks = {step.object: step for step in made.steps.filter(kind="look")}
    assert set(looks) == {unseen} and seen not in looks
    step = looks[unseen]
    assert step.minutes == 8 and 0 < step.changes <= 1 and step.rate == pytest.approx(step.worth / step.minutes)
    asked = reading.Asked()
    assert made.counts["whole"] == reading.totals(made, asked)
    assert made.counts["shelves"] == reading.shelf_sums(made, asked) and made.counts["shelves"][0][1] == 1
    assert made.counts["looks"] == 1 and made.curve[0] == [0, 0] and made.curve[-1][1] == 1


def test_a_newer_list_takes_the_place_of_the_older(worked_out):
    restored()
    first = worked_out()
    second = worked_out()
    assert first.run_id != second.run_id and NextStep.objects.exclude(list=second).count() == 0


def test_the_job_delivered_twice_leaves_one_list(worked_out):
    restored()
    made = worked_out()
    job = Job.objects.get(name="survey.risk.look_next")
    Job.objects.filter(pk=job.pk).update(state=JobState.QUEUED)
    jobs.run(job.pk)
    again = NextList.objects.get()
    kept = ("object_id", "kind", "worth")
    assert list(again.steps.values_list(*kept)) and again.run == made.run
    assert again.steps.count() == made.counts["looks"] + made.counts["tests"]


def test_objects_nobody_surveyed_are_judged_by_their_room(worked_out):
    bad, good = a_room(3, 3, 3, 2, 3, 3, 4, 3), a_room(0, 0, 0, 0, 0, 0, 0, 0)
    dear, plain = builders.an_object(place=bad), builders.an_object(place=good)
    builders.an_assessment(builders.an_object(place=bad), old_restoration="none")
    missing = builders.an_object(place=bad)
    builders.an_assessment(missing, found="missing", old_restoration="not_seen")
    made = worked_out(builders.an_exhibition())
    looks = {step.object: step for step in made.steps.filter(kind="look")}
    assert set(looks) == {dear, plain, missing}
    assert looks[dear].worth > looks[plain].worth and looks[dear].failing > 1.5 * looks[plain].failing
    assert "Nobody has surveyed it." in looks[dear].text and "9 looks" in looks[dear].text
    assert "not found when last looked for" in looks[missing].text


def test_what_was_last_looked_at_years_ago_comes_up_again(worked_out):
    old, new = restored(2), restored(2)
    for thing, at in ((old, builders.NOW - timedelta(days=7 * 365)), (new, builders.NOW)):
        thing.assessments.update(started_at=at, finished_at=at)
    looks = {step.object: step for step in worked_out(builders.an_exhibition()).steps.filter(kind="look")}
    assert set(looks) == {old}
    assert looks[old].text.startswith("1 joint was last looked at 7 years ago.")


def test_looks_because_something_looked_bad_do_not_speak_for_the_room(worked_out):
    shelf = a_room(1, 1)
    for _ in range(5):
        builders.an_assessment(builders.an_object(place=shelf), visit="looked_bad", old_restoration="present")
    asked = builders.an_object(place=shelf)
    step = worked_out().steps.get(object=asked)
    assert "by 2 looks" in step.text


def in_doubt(exhibition, **fields) -> list:
    """Objects of several sizes that are to travel: with some of them the adhesive decides what is done."""
    made = []
    for size in (60, 90, 130, 180, 240):
        for stage in (1, 2):
            made.append(restored(stage, height_mm=size, width_mm=size * 0.8, part="handle", **fields))
            builders.an_entry(exhibition, made[-1], use="travels")
    return made


def test_nothing_that_touches_is_offered_where_a_restriction_is_on_record(worked_out):
    exhibition = builders.an_exhibition()
    for restriction in ("", "Food residue on the inside: evidence, do not clean"):
        in_doubt(exhibition, restriction=restriction)
    made = worked_out(exhibition)
    kinds = {(bool(step.object.restriction), step.kind) for step in made.steps.select_related("object")}
    assert {kind for restriction, kind in kinds if restriction} <= {"look", "uv"}
    assert {kind for restriction, kind in kinds if not restriction} & TOUCHING
    assert made.counts["left_out"] == 10


def test_a_test_already_made_is_not_offered_again(worked_out):
    exhibition = builders.an_exhibition()
    tested, untested = in_doubt(exhibition), in_doubt(exhibition)
    for joint in Joint.objects.filter(restoration__object__in=tested):
        AdhesiveEvidence.objects.create(joint=joint, basis="uv", finding="none", at=builders.NOW)
    made = worked_out(exhibition)
    assert not made.steps.filter(object__in=tested, kind="uv").exists()
    assert made.steps.filter(object__in=untested, kind="uv").exists()


def test_an_empty_register_makes_an_empty_list(worked_out, reader):
    assert worked_out().steps.count() == 0
    assert "Nothing more to look at would change what should be done before opening." in text(reader.get(PAGE))


def test_the_page_shows_the_most_worth_for_each_minute_first(reader, db):
    of = a_list(counts={}, curve=[[0, 0], [1.0, 0.7], [2.0, 1.0]])
    a_step(of, builders.an_object(number="slow"), rate=0.1)
    a_step(of, builders.an_object(number="quick"), rate=0.9)
    a_step(of, builders.an_object(number="second"), kind="uv", best=False, rate=2.0)
    page = reader.get(PAGE)
    assert shown(page) == ["quick", "slow"]
    assert "2 steps may change what should be done before opening" in text(page)
    assert shown(reader.get(PAGE, {"kind": "uv"})) == ["second"]


def test_each_filter_keeps_what_it_says(reader, db):
    exhibition = builders.an_exhibition()
    of = a_list(scores.a_run(exhibition=exhibition))
    room = builders.a_place(kind="room")
    placed = builders.an_object(number="placed", place=builders.a_place(parent=room))
    listed, named = builders.an_object(number="listed"), builders.an_object(number="named", simple_name="salt jar")
    builders.an_entry(exhibition, listed)
    for thing in (placed, listed, named):
        a_step(of, thing)
    found = {
        key: shown(reader.get(PAGE, {key: value}))
        for key, value in {"place": room.pk, "on": "checklist", "q": "SALT jar"}.items()
    }
    assert found == {"place": ["placed"], "on": ["listed"], "q": ["named"]}
    assert "No step fits" in text(reader.get(PAGE, {"place": room.pk, "on": "checklist"}))
    assert reader.get(PAGE, {"kind": "smell"}).status_code == 400


def test_what_was_looked_at_since_is_left_off(reader, db):
    of = a_list()
    done, left = builders.an_object(number="done"), builders.an_object(number="left")
    for thing in (done, left):
        a_step(of, thing)
    later = builders.NOW + timedelta(hours=1)
    builders.an_assessment(done, finished=True, finished_at=later, old_restoration="none")
    page = reader.get(PAGE)
    assert shown(page) == ["left"] and "1 assessment finished since" in text(page)


def test_shelves_are_named_in_walking_order_with_their_share(reader, db):
    of = a_list()
    near, far = builders.a_place(name="Near shelf"), builders.a_place(name="Far shelf")
    a_step(of, builders.an_object(place=far), worth=3.0, minutes=6.0)
    a_step(of, builders.an_object(place=near), worth=1.0, minutes=6.0)
    words = text(reader.get(PAGE))
    assert words.index("Near shelf") < words.index("Far shelf")
    assert "75 %" in words and "25 %" in words


def test_tests_say_what_they_take_and_restrictions_are_shown(reader, db):
    of = a_list()
    thing = builders.an_object(joints=1, restriction="Agreement of the lender needed")
    a_step(of, thing, kind="nitrate_test", joint=Joint.objects.get())
    a_step(of, builders.an_object(), kind="solvent")
    words = text(reader.get(PAGE))
    assert "takes a sample" in words and "touches the joint" in words and "Agreement of the lender needed" in words
    assert "safety data sheet" in words


def test_the_list_is_saved_as_it_is_filtered(reader, db):
    of = a_list()
    a_step(of, builders.an_object(number="=1+1"), rate=0.2)
    a_step(of, builders.an_object(number="K 2"), kind="ftir", rate=0.5)
    body = b"".join(reader.get(f"{PAGE}next.csv").streaming_content).decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(body)))
    assert [row["number"] for row in rows] == ["K 2", "'=1+1"]
    assert rows[0]["takes"] == "sample" and rows[1]["takes"] == "nothing" and rows[1]["chance_of_change"] == "0.4"
    only = b"".join(reader.get(f"{PAGE}next.csv", {"kind": "look"}).streaming_content).decode("utf-8-sig")
    assert len(only.splitlines()) == 2


def test_without_scores_the_page_says_what_to_do_first(reader, conservator):
    assert "Score the joints first" in text(reader.get(PAGE))
    assert reader.get(f"{PAGE}next.csv").status_code == 404
    scores.a_run()
    assert "not worked out yet" in text(conservator.get(PAGE))


def test_who_may_score_may_have_it_worked_out_again(conservator, surveyor, django_capture_on_commit_callbacks):
    restored()
    scores.a_run()
    assert surveyor.post(f"{PAGE}again/").status_code == 403
    with django_capture_on_commit_callbacks(execute=True):
        assert conservator.post(f"{PAGE}again/").status_code == 302
    assert NextList.objects.get().steps.exists()
    Job.objects.create(name="survey.risk.look_next", asked_at=builders.NOW)
    assert "worked out already" in text(conservator.post(f"{PAGE}again/", follow=True))


def test_fifty_rows_ask_no_more_of_the_database_than_one(reader, db):
    exhibition = builders.an_exhibition()
    of = a_list(scores.a_run(exhibition=exhibition))
    shelf = builders.a_place(parent=builders.a_place(kind="room"))

    def count() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert reader.get(PAGE).status_code == 200
        return len(queries)

    a_step(of, builders.an_object(place=shelf))
    one = count()
    for _ in range(59):
        thing = builders.an_object(place=builders.a_place(kind="tray", parent=shelf), joints=1)
        builders.an_entry(exhibition, thing)
        a_step(of, thing, kind="uv", joint=thing.restorations.get().joints.get())
    assert count() == one
    page = reader.get(PAGE)
    assert len(shown(page)) == 50
    after = re.search(r'hx-get="\?after=([^"]*)"', page.content.decode()).group(1)
    rest = reader.get(f"{PAGE}?after={after}", headers={"HX-Request": "true"})
    assert len(shown(rest)) == 10 and "<h1>" not in rest.content.decode()
