"""What the ranking page shows, in which order, and what it makes of an address."""

from __future__ import annotations

import html
import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from survey.models import Joint, ObjectPhotograph, Restoration, Workshop
from tests import builders
from tests.survey.risk import scores

PAGE = "/ranking/"


def shown(response) -> list[str]:
    """Accession numbers in the order of the rows."""
    return re.findall(r'<span class="rank-thing"><span><strong>(.*?)</strong>', response.content.decode())


def text(response) -> str:
    """The words of a page, as they are read."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


@pytest.fixture
def exhibition(db):
    return builders.an_exhibition()


@pytest.fixture
def run(exhibition):
    return scores.a_run(exhibition=exhibition)


def number(name: str, **fields):
    return builders.an_object(number=name, **fields)


def test_what_must_not_be_lifted_stands_first_whatever_its_loss(reader, run):
    scores.a_score(run, number("K 1"), chance=0.99)
    scores.a_score(run, number("K 2"), chance=0.01, band="do_not_lift")
    page = reader.get(PAGE)
    assert shown(page) == ["K 2", "K 1"]
    assert "1 object must not be lifted." in text(page)


def test_the_order_follows_expected_loss_with_or_without_significance(reader, run):
    scores.a_score(run, number("dear"), loss=0.1, weighted_loss=0.8, rank_by_weighted=1, rank_by_loss=2)
    scores.a_score(run, number("plain"), loss=0.2, weighted_loss=0.2, rank_by_weighted=2, rank_by_loss=1)
    assert shown(reader.get(PAGE)) == ["dear", "plain"]
    assert shown(reader.get(PAGE, {"order": "without"})) == ["plain", "dear"]


def test_both_ranks_and_the_chance_with_its_ends_stand_in_the_row(reader, run):
    scores.a_score(run, chance=0.3, rank_by_weighted=4, rank_by_loss=9)
    words = text(reader.get(PAGE))
    assert "4 with 9 without" in words
    assert "30 % (15–65)" in words


def test_the_answer_counts_what_waits_and_what_nobody_has_surveyed(reader, run, exhibition):
    likely, unlikely, off, unseen, sound = (builders.an_object() for _ in range(5))
    for thing in (likely, unlikely, unseen, sound):
        builders.an_entry(exhibition, thing)
    scores.a_score(run, likely, chance=0.34)
    scores.a_score(run, unlikely, chance=0.33)
    scores.a_score(run, off, chance=0.9)
    builders.an_assessment(sound)
    words = text(reader.get(PAGE))
    assert "Of the 4 on the checklist, 1 has a chance above a third" in words
    assert "1 is not scored, because nobody has surveyed it yet. Scored on 2 March 2026." in words
    assert "No object that is scored is barred from being lifted" in words


def test_each_filter_keeps_what_it_says(reader, run, exhibition):
    room = builders.a_place(kind="room")
    shelf = builders.a_place(parent=room)
    firm = Workshop.objects.create(name="Kelder Row workshop")
    placed, listed, theirs = number("placed", place=shelf), number("listed"), number("theirs")
    builders.an_entry(exhibition, listed, section="2. At table")
    Restoration.objects.create(object=theirs, workshop=firm)
    for thing in (placed, listed, theirs, number("jug of salt", simple_name="salt jug")):
        scores.a_score(run, thing)
    scores.a_score(run, number("alarming"), band="do_not_lift")
    found = {
        key: set(shown(reader.get(PAGE, {key: value})))
        for key, value in {
            "place": room.pk, "on": "checklist", "section": "2. At table", "workshop": firm.pk, "band": "do_not_lift",
            "q": "SALT jug",
        }.items()
    }  # fmt: skip
    assert found == {
        "place": {"placed"}, "on": {"listed"}, "section": {"listed"}, "workshop": {"theirs"}, "band": {"alarming"},
        "q": {"jug of salt"},
    }  # fmt: skip
    assert shown(reader.get(PAGE, {"place": room.pk, "on": "checklist"})) == []


def test_objects_in_no_section_can_be_asked_for(reader, run, exhibition):
    for name, section in (("named", "1. Out of the kiln"), ("unnamed", "")):
        thing = number(name)
        builders.an_entry(exhibition, thing, section=section)
        scores.a_score(run, thing)
    assert shown(reader.get(PAGE, {"section": "(none)"})) == ["unnamed"]


def test_filters_are_kept_by_links_and_can_be_taken_off_one_by_one(reader, run, exhibition):
    thing = number("K 1")
    builders.an_entry(exhibition, thing)
    scores.a_score(run, thing)
    page = reader.get(PAGE, {"on": "checklist", "q": "K", "order": "without"})
    links = [link.replace("&amp;", "&") for link in re.findall(r'href="([^"]*)"', page.content.decode())]
    assert "/ranking/?q=K&order=without" in links and "/ranking/?on=checklist&order=without" in links
    assert any("format=csv&q=K&on=checklist&order=without" in link for link in links)


def test_an_object_taken_off_the_checklist_or_out_of_the_register_is_not_shown_there(reader, run, exhibition):
    gone, left = number("gone"), number("left", withdrawn_at=builders.NOW)
    builders.an_entry(exhibition, gone, removed_at=builders.NOW)
    scores.a_score(run, gone)
    scores.a_score(run, left)
    assert shown(reader.get(PAGE)) == ["gone"]
    assert shown(reader.get(PAGE, {"on": "checklist"})) == []


def test_pages_follow_each_other_without_gap_or_repeat_also_through_ties(reader, run):
    for n in range(120):
        scores.a_score(run, number(f"K {n:03d}"), chance=0.1 * (n % 3), band="do_not_lift" if n < 5 else "monitor")
    seen, address = [], PAGE
    while address:
        page = reader.get(address, headers={"HX-Request": "true"})
        seen += shown(page)
        more = re.search(r'hx-get="(\?[^"]*after=[^"]*)"', page.content.decode())
        address = PAGE + more.group(1).replace("&amp;", "&") if more else ""
    assert len(seen) == len(set(seen)) == 120
    assert set(seen[:5]) == {f"K {n:03d}" for n in range(5)}


def test_only_the_newest_finished_run_is_shown(reader, run, exhibition):
    scores.a_score(run, number("now"))
    old = scores.a_run(exhibition=exhibition, finished_at=builders.NOW - timedelta(days=1))
    scores.a_score(old, number("then"))
    unfinished = scores.a_run(exhibition=exhibition, finished_at=None)
    scores.a_score(unfinished, number("not yet"))
    assert shown(reader.get(PAGE)) == ["now"]


def test_a_chance_of_one_is_never_called_certain(reader, run):
    scores.a_score(run, chance=1.0)
    assert ">99 %" in text(reader.get(PAGE)) and "100 % (" not in text(reader.get(PAGE))


def test_beads_hold_every_object_in_its_band(reader, run):
    for chance in (0.0, 0.02, 0.999, 1.0):
        scores.a_score(run, chance=chance, band="monitor")
    page = reader.get(PAGE).content.decode()
    assert "<title>2: 0 to 5 %</title>" in page and "<title>2: 95 to 100 %</title>" in page


def test_the_page_asks_the_database_as_often_for_one_row_as_for_fifty(reader, run, exhibition):
    photograph = a_photograph()
    asked = []
    for more in (1, 49):
        for _ in range(more):
            thing = builders.an_object(place=builders.a_place())
            builders.an_entry(exhibition, thing)
            ObjectPhotograph.objects.create(object=thing, photograph=photograph, at=builders.NOW)
            scores.a_score(run, thing)
        with CaptureQueriesContext(connection) as whole:
            rows = shown(reader.get(PAGE))
        with CaptureQueriesContext(connection) as part:
            reader.get(PAGE, headers={"HX-Request": "true"})
        asked.append((len(whole), len(part)))
    assert len(rows) == 50
    assert asked[0] == asked[1] and asked[1] <= (24, 8)


def a_photograph():
    from media.models import Photograph

    return Photograph.objects.create(sha256="a" * 64, kind="jpeg", width=8, height=8, size=8, received_at=builders.NOW)


def test_the_newest_photograph_of_an_object_is_shown(reader, run):
    thing = builders.an_object()
    scores.a_score(run, thing)
    ObjectPhotograph.objects.create(object=thing, photograph=a_photograph(), at=builders.NOW)
    assert f"/photographs/{'a' * 64}/thumb/" in reader.get(PAGE).content.decode()


@pytest.mark.parametrize(
    "asked",
    [
        {"after": "made-up"},
        {"band": "purple"},
        {"order": "backwards"},
        {"place": "not-a-key"},
        {"workshop": "1; drop"},
        {"on": "both"},
    ],
    ids=lambda asked: next(iter(asked)),
)
def test_an_address_the_ranking_did_not_make_is_refused_in_one_line(reader, run, asked):
    scores.a_score(run)
    page = reader.get(PAGE, asked)
    assert page.status_code == 400
    assert text(page).count("again from the") == 1


def test_a_cursor_of_the_other_order_is_refused(reader, run):
    for _ in range(51):
        scores.a_score(run)
    cursor = reader.get(PAGE).context["page"].next
    assert reader.get(PAGE, {"after": cursor}).status_code == 200
    assert reader.get(PAGE, {"after": cursor, "order": "without"}).status_code == 400


def test_a_place_that_is_gone_is_said(reader, run):
    assert reader.get(PAGE, {"place": "00000000-0000-0000-0000-000000000000"}).status_code == 404


def test_words_with_odd_characters_find_nothing_and_break_nothing(reader, run):
    scores.a_score(run)
    for words in ("%", "_" * 500, "\0", "'; --", "ꙮ"):
        assert reader.get(PAGE, {"q": words}).status_code == 200


def test_before_the_first_run_the_page_says_what_to_do(conservator, reader, db):
    assert "Score all joints" in text(conservator.get(PAGE))
    assert "Score all joints" not in text(reader.get(PAGE))
    assert "A conservator starts the scoring" in text(reader.get(PAGE))


def test_a_run_without_joints_sends_to_the_survey(reader, run):
    assert "found no old joint on record" in text(reader.get(PAGE))


def test_nobody_reads_it_without_signing_in(client, run):
    assert client.get(PAGE).status_code == 302


class TestWhy:
    """The reasons of one object."""

    @pytest.fixture
    def thing(self, run):
        thing = builders.an_object(joints=2, number="K 7")
        for joint, chance in zip(Joint.objects.filter(restoration__object=thing), (0.1, 0.4), strict=True):
            scores.a_joint_score(run, joint, before_opening=chance, assumed=["load"])
        scores.a_score(run, thing, warnings=["The restoration of joint J1 is dated in the future."])
        return thing

    def test_reasons_changes_milestones_magnitude_joints_and_warnings_are_told(self, reader, thing):
        words = text(reader.get(f"{PAGE}objects/{thing.pk}/"))
        for said in (
            "the film is peeling",
            "What would change it Taken down and joined again",
            "What to mind Joints are taken as failing independently",
            "Photography 27 April 2026",
            "Opening 8 June 2026",
            "Together, of 15 7.5 9.0 10.5",
            "Review later",
            "Cellulose nitrate (guessed from date and hand) 80 % animal glue 20 %",
            "load estimated from the object's size",
            "dated in the future",
            "parameter set 1 Shipped defaults",
        ):
            assert said in words, said

    def test_the_joint_most_likely_to_fail_comes_first(self, reader, thing):
        page = reader.get(f"{PAGE}objects/{thing.pk}/")
        chances = [joint.risk.before_opening for joint in page.context["story"].joints]
        assert chances == [0.4, 0.1]

    def test_a_finding_weighs_the_outline_of_the_adhesive(self, reader, thing):
        from survey.models import AdhesiveEvidence

        joint = Joint.objects.filter(restoration__object=thing)[0]
        AdhesiveEvidence.objects.create(joint=joint, basis="spot_test", finding="nitrate_deep_blue", at=builders.NOW)
        levels = {
            j.risk.joint_id: j.certainty for j in reader.get(f"{PAGE}objects/{thing.pk}/").context["story"].joints
        }
        assert levels.pop(joint.pk) == "tested" and set(levels.values()) == {"guessed"}

    def test_milestones_follow_each_other_however_the_database_keeps_them(self, reader, run):
        thing = builders.an_object()
        mixed = {"opening": 0.4, "mount_making": 0.2, "case_closing": 0.3, "photography": 0.1}
        scores.a_score(run, thing, before_milestones=mixed)
        ahead = reader.get(f"{PAGE}objects/{thing.pk}/").context["story"].ahead
        assert [each.name for each in ahead] == ["Photography", "Mount-making", "Case closing", "Opening"]
        assert [each.chance for each in ahead] == [0.1, 0.2, 0.3, 0.4]

    def test_a_row_opens_with_the_part_alone(self, reader, thing):
        part = reader.get(f"{PAGE}objects/{thing.pk}/", headers={"HX-Request": "true"}).content.decode()
        assert "Why it stands here" in part and "<html" not in part and "<h1" not in part

    def test_what_must_not_be_lifted_says_so_before_all_else(self, reader, run):
        thing = builders.an_object()
        reasons = [
            {"code": "do-not-lift", "text": "Do not lift this object before it is secured: a joint is open (foot)."}
        ]
        scores.a_score(run, thing, band="do_not_lift", reasons=reasons)
        page = reader.get(f"{PAGE}objects/{thing.pk}/").content.decode()
        assert page.index('class="do-not-lift"') < page.index("<h1")
        assert "A joint is open (foot)." in page

    def test_an_object_that_is_open_already_has_no_magnitude_to_act_on(self, reader, run):
        thing = builders.an_object()
        scores.a_score(run, thing, magnitude=scores.MAGNITUDE | {"A": [0.0, 0.0, 0.0]})
        assert "A joint is open already" in text(reader.get(f"{PAGE}objects/{thing.pk}/"))

    def test_an_object_without_a_score_is_said(self, reader, run):
        page = reader.get(f"{PAGE}objects/{builders.an_object().pk}/")
        assert page.status_code == 404 and "no old joint of it is recorded" in text(page)

    def test_before_the_first_run_there_is_no_why(self, reader, db):
        assert reader.get(f"{PAGE}objects/{builders.an_object().pk}/").status_code == 404

    def test_a_year_ahead_stands_where_there_is_no_exhibition(self, reader, db):
        run = scores.a_run(exhibition=None, as_of=date(2026, 3, 2))
        thing = builders.an_object()
        scores.a_score(run, thing, before_milestones={"year": 0.3})
        assert "A year ahead 2 March 2027" in text(reader.get(f"{PAGE}objects/{thing.pk}/"))
