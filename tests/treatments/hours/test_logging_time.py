"""Time at the bench: clocks that nothing loses, entries by hand, corrections; overlaps refused in words."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from media.base.errors import Clash, FettleError
from media.base.models import Event
from tests import builders
from tests.treatments import checklists
from treatments.hours.db import selectors, services
from treatments.hours.db.services import Said
from treatments.models import LoggedTime, RunningClock, Treatment
from treatments.options.db import services as options

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
STEP = "secure_edges"


@pytest.fixture
def thing(db):
    return checklists.listed(checklists.an_exhibition(), 2)


@pytest.fixture
def ann(db):
    return builders.a_person(first_name="Ann")


def at(hour: float, day: int = 2) -> datetime:
    return datetime(2026, 3, day, tzinfo=UTC) + timedelta(hours=hour)


def sitting(start: float, end: float, *, step: str = STEP, day: int = 2, **more) -> Said:
    return Said.sitting(step, at(start, day), at(end, day), **more)


def log(thing, said: Said, ann, **more) -> LoggedTime:
    return services.log_time(thing, said, worker=ann, by=ann, at=at(20), **more)


def test_a_clock_that_is_started_and_stopped_becomes_logged_time(thing, ann):
    services.start_clock(thing, STEP, worker=ann, at=at(9))
    assert not Treatment.objects.exists(), "no treatment begins before there is time to log"
    row = services.stop_clock(ann, at=at(10.5), note=" slow ", step_done=True)
    assert (row.hours, row.on, row.step, row.note, row.step_done) == (1.5, date(2026, 3, 2), STEP, "slow", True)
    assert (row.started_at, row.ended_at) == (at(9), at(10.5)) and not RunningClock.objects.exists()
    going = Treatment.objects.get()
    assert (going.object, going.level, going.began_on) == (thing, "secure", row.on)
    expected = {step.code: list(map(float, (step.hours.low, step.hours.likely, step.hours.high)))
                for step in selectors.all_levels(thing.pk)[2].steps}  # fmt: skip
    assert going.estimate == expected


def test_a_clock_is_a_row_that_every_page_shows_again(conservator, thing):
    page = f"/treatments/{thing.pk}/time/"
    conservator.post(f"{page}start/", {"step": STEP})
    since = RunningClock.objects.get().started_at.isoformat()
    for address in (page, page, "/treatments/time/"):
        assert f'data-clock-since="{since}"' in conservator.get(address).content.decode()
    assert "running" in conservator.get(page).content.decode()


def test_start_pressed_twice_starts_once(thing, ann):
    first = services.start_clock(thing, STEP, worker=ann, at=at(9))
    assert services.start_clock(thing, STEP, worker=ann, at=at(9.01)) == first
    assert (RunningClock.objects.get().started_at, Event.objects.filter(verb="started a clock").count()) == (at(9), 1)


def test_a_second_clock_is_refused_and_the_database_allows_none(thing, ann):
    services.start_clock(thing, STEP, worker=ann, at=at(9))
    other = checklists.a_restored(2)
    with pytest.raises(Clash, match=f"runs on {thing.number} already"):
        services.start_clock(other, STEP, worker=ann, at=at(9.5))
    with pytest.raises(IntegrityError), transaction.atomic():
        RunningClock.objects.create(worker=ann, object=other, step=STEP, started_at=at(9))
    services.start_clock(other, STEP, worker=builders.a_person(), at=at(9.5))


def test_starting_the_next_object_can_stop_the_one_before(conservator, thing):
    other = checklists.a_restored(2)
    conservator.post(f"/treatments/{thing.pk}/time/start/", {"step": STEP})
    RunningClock.objects.update(started_at=timezone.now() - timedelta(seconds=90))
    assert conservator.post(f"/treatments/{other.pk}/time/start/", {"step": STEP}).status_code == 422
    conservator.post(f"/treatments/{other.pk}/time/start/", {"step": STEP, "instead": "1"})
    assert (RunningClock.objects.get().object, LoggedTime.objects.get().treatment.object) == (other, thing)


def test_a_touch_by_mistake_leaves_nothing(thing, ann):
    services.start_clock(thing, STEP, worker=ann, at=at(9))
    assert services.stop_clock(ann, at=at(9) + timedelta(seconds=20)) is None
    assert not LoggedTime.objects.exists() and not Treatment.objects.exists()


@pytest.mark.parametrize(
    ("start", "now", "asked"),
    [(at(9), at(14), False), (at(9), at(15.1), True), (at(22), at(1, day=3), True), (at(1), at(2), False)],
)
def test_a_clock_that_ran_very_long_or_over_midnight_is_asked_about(thing, ann, start, now, asked):
    services.start_clock(thing, STEP, worker=ann, at=start)
    assert selectors.clock_of(ann, now).forgotten is asked
    if asked:
        with pytest.raises(Clash, match="Say when the work really ended"):
            services.stop_clock(ann, at=now)
        assert RunningClock.objects.exists(), "asking loses nothing"
        row = services.stop_clock(ann, at=now, ended_at=start + timedelta(hours=1))
        assert row.hours == 1.0


def test_what_is_proposed_for_a_forgotten_clock_is_the_end_of_its_day(thing, ann):
    services.start_clock(thing, STEP, worker=ann, at=at(9))
    assert selectors.clock_of(ann, at(8, day=4)).suggested == at(17)


def test_a_forgotten_clock_is_asked_about_on_its_page(conservator, thing):
    conservator.post(f"/treatments/{thing.pk}/time/start/", {"step": STEP})
    start = timezone.now() - timedelta(hours=30)
    RunningClock.objects.update(started_at=start)
    assert "Was it forgotten?" in conservator.get("/treatments/time/").content.decode()
    page = conservator.post("/treatments/time/stop/")
    assert page.status_code == 200 and "really end" in page.content.decode() and RunningClock.objects.exists()
    ended = timezone.localtime(start + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M")
    assert conservator.post("/treatments/time/stop/", {"ended_at": ended}).status_code == 302
    assert LoggedTime.objects.get().hours == pytest.approx(2, abs=0.02)


def test_an_end_before_the_start_is_refused_and_the_clock_still_runs(conservator, thing):
    conservator.post(f"/treatments/{thing.pk}/time/start/", {"step": STEP})
    RunningClock.objects.update(started_at=timezone.now() - timedelta(hours=30))
    answer = conservator.post("/treatments/time/stop/", {"ended_at": "2020-01-01T10:00"})
    assert answer.status_code == 422 and "at least a minute after" in answer.content.decode()
    assert RunningClock.objects.exists() and not LoggedTime.objects.exists()


def test_a_clock_can_be_ended_without_writing_anything_down(conservator, thing):
    conservator.post(f"/treatments/{thing.pk}/time/start/", {"step": STEP})
    assert "without writing anything down?" in conservator.get("/treatments/time/discard/").content.decode()
    conservator.post("/treatments/time/discard/")
    assert not RunningClock.objects.exists() and not LoggedTime.objects.exists()


@pytest.mark.parametrize(("start", "end"), [(9.5, 11), (8, 9.5), (9.2, 9.8), (8, 12), (9, 10)])
def test_two_sittings_of_one_person_may_not_overlap(thing, ann, start, end):
    log(thing, sitting(9, 10), ann)
    with pytest.raises(Clash, match=f"Ann was on {thing.number} from 09:00 to 10:00 on 2 March 2026"):
        log(checklists.a_restored(2), sitting(start, end), ann)
    assert LoggedTime.objects.count() == 1


def test_sittings_that_only_touch_and_those_of_two_people_are_no_overlap(thing, ann):
    log(thing, sitting(9, 10), ann)
    log(thing, sitting(10, 11), ann)
    log(thing, sitting(8, 9), ann)
    log(thing, sitting(9, 10), builders.a_person())
    assert LoggedTime.objects.count() == 4


def test_time_by_hand_may_not_run_into_a_running_clock(thing, ann):
    services.start_clock(thing, STEP, worker=ann, at=at(14))
    log(thing, sitting(9, 10), ann)
    with pytest.raises(Clash, match="A clock of Ann has been running"):
        log(thing, sitting(13, 15), ann)


def test_a_clock_cannot_start_within_time_already_logged(thing, ann):
    log(thing, sitting(9, 10), ann)
    with pytest.raises(Clash, match="correct one of the two"):
        services.start_clock(thing, STEP, worker=ann, at=at(9.5))


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (Said(STEP, date(2026, 3, 3), 1.0), "lies ahead"),
        (Said(STEP, date(1990, 3, 3), 1.0), "twenty years"),
        (Said(STEP, date(2026, 3, 2), 0.0), "more than nothing"),
        (Said(STEP, date(2026, 3, 2), 25.0), "at most 24"),
        (Said(STEP, date(2026, 3, 2), float("nan")), "more than nothing"),
        (Said("dancing", date(2026, 3, 2), 1.0), "not in the department's table"),
        (sitting(9, 9), "at least a minute"),
        (sitting(10, 9), "at least a minute"),
        (sitting(0, 17), "more than 16 hours"),
        (sitting(19, 21), "lies ahead"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_nothing_is_begun(thing, ann, said, words):
    with pytest.raises(FettleError, match=words):
        log(thing, said, ann)
    assert not Treatment.objects.exists()


def test_a_day_has_no_more_than_24_hours_in_all(thing, ann):
    log(thing, Said(STEP, date(2026, 3, 1), 20.0), ann)
    with pytest.raises(FettleError, match=r"20\.00 hours on 1 March 2026 already"):
        log(thing, Said(STEP, date(2026, 3, 1), 4.1), ann)
    log(thing, Said(STEP, date(2026, 3, 1), 4.0), ann)


def test_a_correction_counts_instead_and_what_was_said_first_stays(thing, ann):
    first = log(thing, sitting(9, 10), ann)
    second = services.correct_time(first, sitting(9, 12), by=ann, at=at(20))
    assert list(LoggedTime.objects.standing()) == [second] and second.corrects == first
    assert Event.objects.get(verb="corrected time").was["hours"] == 1.0
    with pytest.raises(Clash, match="meanwhile"):
        services.correct_time(first, sitting(9, 11), by=ann, at=at(20))
    assert services.correct_time(second, sitting(9, 12), by=ann, at=at(21)) == second, "the same again changes nothing"


def test_struck_time_frees_its_place_and_can_be_put_back_unless_that_is_taken(thing, ann):
    wrong = log(thing, sitting(9, 10), ann)
    services.take_out(wrong, by=ann, at=at(20))
    assert selectors.object_time(thing.pk).hours == 0
    services.put_back(wrong, by=ann, at=at(20))
    assert selectors.object_time(thing.pk).hours == 1
    services.take_out(wrong, by=ann, at=at(20))
    log(thing, sitting(9.5, 10.5), ann)
    with pytest.raises(Clash, match="correct one of the two"):
        services.put_back(wrong, by=ann, at=at(20))


def test_a_treatment_goes_on_until_it_is_finished_and_can_be_taken_up_again(thing, ann):
    log(thing, sitting(9, 10), ann)
    log(thing, sitting(9, 10, day=1), ann)
    going = Treatment.objects.get()
    assert going.began_on == date(2026, 3, 1)
    done = services.finish_treatment(going, surprise=True, note="a pin", by=ann, at=at(20))
    assert (done.finished_on, done.surprise, done.surprise_note) == (date(2026, 3, 2), True, "a pin")
    with pytest.raises(Clash, match="already"):
        services.finish_treatment(going, surprise=None, note="", by=ann, at=at(20))
    log(thing, sitting(15, 16), ann)
    assert Treatment.objects.count() == 2, "work after the end begins a new treatment"
    with pytest.raises(Clash, match="Another treatment"):
        services.reopen_treatment(done, by=ann, at=at(20))


def test_a_treatment_without_time_or_with_a_running_clock_cannot_be_finished(thing, ann):
    row = log(thing, sitting(9, 10), ann)
    services.start_clock(thing, STEP, worker=ann, at=at(12))
    with pytest.raises(Clash, match="still runs"):
        services.finish_treatment(row.treatment, surprise=None, note="", by=ann, at=at(13))
    services.discard_clock(ann, at=at(13))
    services.take_out(row, by=ann, at=at(13))
    with pytest.raises(FettleError, match="No time is written down"):
        services.finish_treatment(row.treatment, surprise=None, note="", by=ann, at=at(13))


def test_another_level_chosen_meanwhile_is_estimated_anew(db, ann):
    exhibition = checklists.an_exhibition()
    thing = checklists.listed(exhibition, 2)
    log(thing, sitting(9, 10), ann)
    options.choose_level(exhibition, thing, "make_good", by=None, at=at(12))
    log(thing, sitting(10, 11), ann)
    going = Treatment.objects.get()
    assert going.level == "make_good" and "take_down" in going.estimate and going.logged.count() == 2
    log(thing, sitting(11, 12), ann)
    assert Event.objects.filter(verb="estimated anew").count() == 1


def test_an_object_on_no_checklist_can_be_worked_on(db, ann):
    checklists.an_exhibition()
    thing = checklists.a_restored(2)
    log(thing, sitting(9, 10), ann)
    assert (Treatment.objects.get().exhibition, Treatment.objects.get().level) == (None, "secure")


def test_time_by_hand_on_the_page_in_both_ways_and_what_is_wrong_stays_on_it(conservator, thing):
    page, day = f"/treatments/{thing.pk}/time/", checklists.today() - timedelta(days=1)
    kept = {"step": STEP, "on": day.isoformat()}
    assert conservator.post(f"{page}add/", kept | {"began": "09:00", "ended": "10:30"}).status_code == 302
    assert conservator.post(f"{page}add/", kept | {"hours": "2"}).status_code == 302
    assert sorted(LoggedTime.objects.values_list("hours", flat=True)) == [1.5, 2.0]
    for wrong, words in [
        ({"began": "09:00"}, "both times"), ({}, "how many hours"),
        ({"began": "9:00", "ended": "8:00"}, "after it began"),
        ({"began": "9:00", "ended": "9:30", "hours": "1"}, "not both"), ({"hours": "nan"}, "number"),
        ({"began": "09:15", "ended": "09:45"}, "correct one of the two"),
    ]:  # fmt: skip
        answer = conservator.post(f"{page}add/", kept | wrong)
        assert answer.status_code == 422 and words in answer.content.decode(), wrong
    assert LoggedTime.objects.count() == 2


def test_only_heads_change_what_others_logged(conservator, head, thing):
    row = log(thing, Said(STEP, date(2026, 3, 1), 1.0), builders.a_person())
    for way in ("", "strike/", "put-back/"):
        assert conservator.post(f"/treatments/time/{row.pk}/{way}").status_code == 403
    assert conservator.get("/treatments/time/", {"who": row.worker.pk}).status_code == 403
    assert head.get("/treatments/time/", {"who": row.worker.pk, "week": "2026-03-01"}).context["shown"].hours == 1.0
    said = {"step": STEP, "on": "2026-03-01", "hours": "3"}
    assert head.post(f"/treatments/time/{row.pk}/", said).status_code == 302
    assert LoggedTime.objects.standing().get().hours == 3.0


def test_readers_see_time_and_cannot_write_it(reader, thing):
    page = f"/treatments/{thing.pk}/time/"
    text = reader.get(page).content.decode()
    assert reader.get(page).status_code == 200 and "Write time down" not in text
    for way in ("start/", "add/", "finish/", "reopen/"):
        assert reader.post(page + way).status_code == 403
    assert reader.get("/treatments/time/").status_code == 403


@pytest.mark.parametrize("asked", [{"week": "nonsense"}, {"week": "0001-01-01"}, {"week": "9999-12-31"}])
def test_any_week_asked_for_is_a_page(conservator, asked):
    options.ensure_levels(at=builders.NOW)
    assert conservator.get("/treatments/time/", asked).status_code == 200


@pytest.mark.parametrize("who", ["x", "99999999", "99999999999999999999", "²"])
def test_a_person_who_is_not_there_is_said(head, who):
    options.ensure_levels(at=builders.NOW)
    assert head.get("/treatments/time/", {"who": who}).status_code == 400


def test_the_file_holds_standing_time_and_nothing_that_computes(head, thing, ann):
    day = checklists.today() - timedelta(days=1)
    row = services.log_time(thing, Said(STEP, day, 1.25, note="=1+1"), worker=ann, by=ann, at=timezone.now())
    services.take_out(
        services.log_time(thing, Said(STEP, day, 9.0), worker=ann, by=ann, at=timezone.now()), by=ann, at=timezone.now()
    )
    text = b"".join(head.get("/treatments/time/time.csv").streaming_content).decode()
    lines = text.strip().splitlines()
    assert len(lines) == 2 and row.on.isoformat() in lines[1] and "'=1+1" in lines[1] and "1.25" in lines[1]


def test_the_whole_way_on_the_pages(conservator, thing):
    page = f"/treatments/{thing.pk}/time/"
    conservator.post(f"{page}start/", {"step": STEP})
    RunningClock.objects.update(started_at=timezone.now() - timedelta(minutes=75))
    assert conservator.post("/treatments/time/stop/", {"step_done": "on"}).status_code == 302
    row = LoggedTime.objects.get()
    assert row.hours == pytest.approx(1.25, abs=0.01) and row.step_done
    assert conservator.get(f"/treatments/time/{row.pk}/").status_code == 200
    assert "Is the treatment" in conservator.get(f"{page}finish/").content.decode()
    assert conservator.post(f"{page}finish/", {"surprise": "no"}).status_code == 302
    assert Treatment.objects.get().surprise is False and Treatment.objects.get().finished_on
    assert "Take it up again" in conservator.get(page).content.decode()
    conservator.post(f"{page}reopen/")
    assert Treatment.objects.get().finished_on is None


def test_pages_cost_the_same_for_one_entry_and_for_fifty(conservator, thing, django_assert_max_num_queries):
    me = builders.User.objects.get(pk=int(conservator.session["_auth_user_id"]))
    for n in range(50):
        services.log_time(thing, Said(STEP, checklists.today(), 0.1, note=str(n)), worker=me, by=me, at=timezone.now())
    with django_assert_max_num_queries(12):
        assert len(conservator.get("/treatments/time/").context["shown"].days[0][2]) == 50
    with django_assert_max_num_queries(36):
        assert len(conservator.get(f"/treatments/{thing.pk}/time/").context["shown"].lines) == 50
