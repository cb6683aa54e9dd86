"""Lists to walk along shelves with, what must not be lifted, notices, and the work of former restorers."""

from __future__ import annotations

import html
import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from survey.models import AdhesiveEvidence, Joint, Workshop
from survey.risk.db.selectors.shelves import MOST, must_not_be_lifted
from survey.risk.db.selectors.workshops import ageing_nitrate
from tests import builders
from tests.survey.risk import scores

LATER = builders.NOW + timedelta(days=1)
OPEN_FOOT = [
    {"code": "told", "text": "The surveyor of 2 March 2026 said that it must not be lifted."},
    {"code": "do-not-lift", "text": "Do not lift this object before it is secured: a joint is open (foot)."},
]


def text(response) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


@pytest.fixture
def run(db):
    return scores.a_run(exhibition=builders.an_exhibition())


@pytest.fixture
def bay(db):
    return builders.a_place(kind="bay", name="Bay 3")


def said_not_to_lift(thing, **fields):
    return builders.an_assessment(thing, handling="do_not_lift", **fields)


class TestShelfByShelf:
    PAGE = "/ranking/shelves/"

    def test_objects_stand_in_walking_order_with_trays_on_their_shelf(self, reader, run, bay):
        first, second = (builders.a_place(parent=bay, name=name) for name in ("Shelf 1", "Shelf 2"))
        tray = builders.a_place(parent=first, kind="tray", name="Tray 7")
        for number, place in (("D", None), ("C", second), ("B", tray), ("A", first)):
            scores.a_score(run, builders.an_object(number=number, place=place))
        page = reader.get(self.PAGE)
        shelves = [(s.place and s.place.name, [r.object.number for r in s.risks]) for s in page.context["list"].shelves]
        assert shelves == [("Shelf 1", ["A", "B"]), ("Shelf 2", ["C"]), (None, ["D"])]
        assert "jar, Tray 7" in text(page)

    def test_each_line_has_a_box_to_tick_its_band_and_its_chance(self, reader, run, bay):
        scores.a_score(run, builders.an_object(number="K 1", place=bay), chance=0.42, worst_stage=1)
        page = reader.get(self.PAGE)
        assert "K 1 jar Before it is mounted or travels Ageing 42 %" in text(page)
        assert page.content.decode().count("tick-box") == 1

    def test_filters_are_those_of_the_ranking_and_are_printed(self, reader, run, bay):
        scores.a_score(run, builders.an_object(number="K 1", place=bay))
        scores.a_score(run, builders.an_object(number="K 2"))
        words = text(reader.get(self.PAGE, {"place": bay.pk}))
        assert "K 1" in words and "K 2" not in words and "Only: Bay 3." in words
        assert reader.get(self.PAGE, {"band": "purple"}).status_code == 400

    def test_a_list_too_long_to_walk_with_is_cut_and_says_so(self, reader, run, monkeypatch):
        monkeypatch.setattr("survey.risk.db.selectors.shelves.MOST", 2)
        for _ in range(3):
            scores.a_score(run)
        page = reader.get(self.PAGE)
        assert page.context["list"].count == 2 and "Not all of it" in text(page)
        assert MOST == 1500 and "1 500 objects" in text(page)

    def test_empty_states_say_what_to_do(self, reader, db):
        assert "Score the joints first" in text(reader.get(self.PAGE))
        scores.a_run()
        assert "Take a filter away" in text(reader.get(self.PAGE))


class TestDoNotLift:
    PAGE = "/ranking/do-not-lift/"

    def test_rules_and_surveyors_words_stand_together_once_each(self, reader, run, bay):
        by_rule, by_word, fine = (builders.an_object(number=n, place=bay) for n in ("K 1", "K 2", "K 3"))
        scores.a_score(run, by_rule, band="do_not_lift", reasons=OPEN_FOOT)
        scores.a_score(run, fine)
        said_not_to_lift(by_rule)
        said_not_to_lift(by_word, observation="Handle swings at a touch.", started_at=LATER, finished_at=LATER)
        words = text(reader.get(self.PAGE))
        assert "2 objects , on 1 shelf" in words
        assert "A joint is open (foot). The surveyor of 2 March 2026 said so." in words
        assert "The surveyor of 3 March 2026 said so. Handle swings at a touch." in words
        assert "K 3" not in words

    def test_the_last_word_counts_not_an_earlier_one(self, db):
        thing = builders.an_object()
        said_not_to_lift(thing)
        builders.an_assessment(thing, handling="free", started_at=LATER, finished_at=LATER)
        assert must_not_be_lifted(None) == []

    def test_a_correction_takes_the_word_back(self, db):
        thing = builders.an_object()
        wrong = said_not_to_lift(thing)
        builders.an_assessment(thing, handling="care", corrects=wrong, finished_at=LATER)
        assert must_not_be_lifted(None) == []

    def test_a_surveyors_word_counts_before_anything_is_scored(self, reader, db):
        said_not_to_lift(builders.an_object(number="K 9"))
        words = text(reader.get(self.PAGE))
        assert "K 9" in words and "these are surveyors' words alone" in words

    def test_an_assessment_not_finished_or_an_object_that_left_does_not_count(self, db):
        said_not_to_lift(builders.an_object(), finished=False)
        said_not_to_lift(builders.an_object(withdrawn_at=builders.NOW))
        assert must_not_be_lifted(None) == []

    def test_a_place_narrows_the_list_to_all_inside_it(self, reader, run, bay):
        shelf = builders.a_place(parent=bay)
        scores.a_score(run, builders.an_object(number="K 1", place=shelf), band="do_not_lift")
        said_not_to_lift(builders.an_object(number="K 2", place=shelf))
        said_not_to_lift(builders.an_object(number="K 3"))
        words = text(reader.get(self.PAGE, {"place": bay.pk}))
        assert "K 1" in words and "K 2" in words and "K 3" not in words
        assert reader.get(self.PAGE, {"place": "nowhere"}).status_code == 400

    def test_nothing_known_is_not_called_safe(self, reader, db):
        assert "What nobody has surveyed is not known: look before you lift" in text(reader.get(self.PAGE))

    @pytest.mark.parametrize("page", ["", "notices/"])
    def test_as_many_queries_for_one_object_as_for_fifty(self, reader, run, page):
        asked = []
        for more in (1, 49):
            for _ in range(more):
                thing = builders.an_object(place=builders.a_place())
                scores.a_score(run, thing, band="do_not_lift", reasons=OPEN_FOOT)
                said_not_to_lift(builders.an_object(place=builders.a_place()))
            with CaptureQueriesContext(connection) as queries:
                assert reader.get(self.PAGE + page).status_code == 200
            asked.append(len(queries))
        assert asked[0] == asked[1]

    def test_each_shelf_gets_one_notice_with_all_that_stands_on_it(self, reader, run, bay):
        shelf, other = (builders.a_place(parent=bay, name=name) for name in ("Shelf 1", "Shelf 2"))
        for number, place in (("K 1", shelf), ("K 2", shelf), ("K 3", other)):
            scores.a_score(run, builders.an_object(number=number, place=place), band="do_not_lift", reasons=OPEN_FOOT)
        page = reader.get(f"{self.PAGE}notices/")
        notices = page.content.decode().split('class="shelf-notice"')[1:]
        assert len(notices) == 2
        assert "K 1" in notices[0] and "K 2" in notices[0] and "K 3" in notices[1]
        assert all("Do not lift" in notice and "Ask a conservator" in notice for notice in notices)

    def test_a_newer_run_changes_the_list(self, reader, run):
        thing = builders.an_object(number="K 1")
        scores.a_score(run, thing, band="do_not_lift")
        assert "K 1" in text(reader.get(self.PAGE))
        scores.a_score(scores.a_run(finished_at=LATER), thing, band="monitor")
        assert "K 1" not in text(reader.get(self.PAGE))


class TestWorkshops:
    PAGE = "/ranking/workshops/"

    def test_expected_numbers_are_sums_of_chances(self, run):
        """Worked by hand: 0.8 + 0.5 + 0.1 = 1.4; ageing 0.8 x 0.75 + 0.5 x 1 + 0.1 x 0 = 1.1."""
        thing = builders.an_object(joints=3)
        chances = ((0.8, 0.25), (0.5, 0.0), (0.1, 1.0))
        for joint, (nitrate, sound) in zip(Joint.objects.order_by("label"), chances, strict=True):
            scores.a_joint_score(
                run,
                joint,
                class_chances={"cellulose_nitrate": nitrate},
                stage_chances=[sound, 1 - sound, 0, 0, 0],
                stage=None if sound == 1.0 else 1,
            )
        whole = ageing_nitrate(run).whole
        assert (whole.joints, whole.objects, whole.not_seen) == (3, {thing.pk}, 1)
        assert (whole.nitrate, whole.ageing) == (pytest.approx(1.4), pytest.approx(1.1))
        assert whole.likely_joints == 2

    def test_joints_are_told_apart_by_workshop_room_and_certainty(self, reader, run):
        room = builders.a_place(kind="room", name="Tar room")
        firm = Workshop.objects.create(name="Kelder Row workshop", active_from=1924)
        ours = builders.an_object(joints=2, place=builders.a_place(parent=room))
        builders.an_object(joints=1)
        joints = list(Joint.objects.filter(restoration__object=ours).order_by("label"))
        joints[0].restoration.workshop = firm
        joints[0].restoration.save()
        Joint.objects.filter(pk=joints[1].pk).update(adhesive="cellulose_nitrate", basis="ftir")
        AdhesiveEvidence.objects.create(joint=joints[0], basis="look", finding="clear", at=builders.NOW)
        for joint in Joint.objects.all():
            scores.a_joint_score(run, joint)
        found = ageing_nitrate(run)
        assert [(line.workshop, line.tally.joints) for line in found.workshops] == [(firm, 2), (None, 1)]
        assert [(line.place, line.tally.joints) for line in found.places] == [(room, 2), (None, 1)]
        assert found.workshops[0].tally.by_certainty == [1, 0, 1, 0]
        words = text(reader.get(self.PAGE))
        assert "Kelder Row workshop 1924–? 1 2 0 2 1 1 – 1 –" in words
        assert "Nobody knows whose" in words and "In no known room" in words

    def test_before_anything_is_scored_it_says_so(self, reader, db):
        assert "No joint is scored yet" in text(reader.get(self.PAGE))

    def test_as_many_queries_for_one_joint_as_for_fifty(self, reader, run):
        asked = []
        for more in (1, 49):
            for _ in range(more):
                thing = builders.an_object(joints=1, place=builders.a_place(kind="room"))
                scores.a_joint_score(run, Joint.objects.get(restoration__object=thing))
            with CaptureQueriesContext(connection) as queries:
                reader.get(self.PAGE)
            asked.append(len(queries))
        assert asked[0] == asked[1]


@pytest.mark.parametrize("page", ["shelves/", "do-not-lift/", "do-not-lift/notices/", "workshops/"])
def test_nobody_sees_them_without_signing_in(client, db, page):
    assert client.get(f"/ranking/{page}").status_code == 302


@pytest.mark.parametrize("page", ["", "shelves/", "do-not-lift/", "workshops/"])
def test_each_page_folds_away_how_it_was_worked_out(reader, run, page):
    words = text(reader.get(f"/ranking/{page}"))
    for said in ("optimistic : 75 years", "middle : 49 years", "pessimistic : 13 years", "s40494-016-0116-z",
                 "share their adhesive and pace", "support a conservator's judgement and replace none"):  # fmt: skip
        assert said in words, said
