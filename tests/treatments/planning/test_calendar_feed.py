"""Calendars as text/calendar: escaping, folding and the parts that must be there; addresses that can be ended."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from media.base.models import Event
from tests.treatments import checklists
from treatments.models import CalendarAddress
from treatments.planning.db import services
from treatments.planning.feed import Sitting, calendar_text, escaped, folded

START = datetime(2026, 3, 2, 9, 15, tzinfo=timezone(timedelta(hours=1)))
STAMP = datetime(2026, 3, 1, 12, tzinfo=UTC)


def unfolded(text: str) -> list[str]:
    """Source: RFC 5545 section 3.1: unfolding takes out CR LF followed by one blank or tab."""
    return re.sub("\r\n[ \t]", "", text).removesuffix("\r\n").split("\r\n")


def unescaped(text: str) -> str:
    return re.sub(r"\\(.)", lambda found: "\n" if found[1] in "nN" else found[1], text)


def test_the_standards_own_example_of_escaping():
    """Source: RFC 5545 section 3.3.11, example."""
    said = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert escaped(said) == r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared."


def test_backslash_semicolon_and_comma_are_escaped_and_colons_are_not():
    """Source: RFC 5545 section 3.3.11: ESCAPED-CHAR; a colon is not among them."""
    assert escaped("a\\b;c,d:e") == r"a\\b\;c\,d:e"


@given(st.text())
def test_no_line_is_longer_than_75_octets_and_unfolding_gives_it_back(text):
    """Source: RFC 5545 section 3.1: lines should not be longer than 75 octets, excluding the line break."""
    line = f"SUMMARY:{escaped(text)}"
    parts = folded(line).split("\r\n")
    assert all(len(part.encode()) <= 75 for part in parts)
    assert all(part.startswith(" ") for part in parts[1:])
    assert unfolded(folded(line) + "\r\n") == [line]
    assert "\r" not in line and "\n" not in line


def test_a_character_of_several_octets_is_never_cut():
    parts = folded("SUMMARY:" + "é" * 200).encode().split(b"\r\n")
    assert len(parts) > 5
    for part in parts:
        part.decode()
        assert len(part) <= 75


def test_every_part_that_the_standard_asks_for_is_there():
    """Source: RFC 5545 sections 3.6 (PRODID, VERSION once), 3.6.1 (UID, DTSTAMP), 3.3.5 (times in UTC end with Z)."""
    sitting = Sitting(
        "a@b", START, START + timedelta(minutes=45), "K 1: join, then wait", "For x; y", "Store · Shelf 2"
    )
    text = calendar_text("Plan of Ann", [sitting], stamp=STAMP)
    assert text.endswith("END:VCALENDAR\r\n") and "\n" not in text.replace("\r\n", "")
    lines = unfolded(text)
    assert lines[0] == "BEGIN:VCALENDAR" and lines.count("VERSION:2.0") == 1
    assert sum(line.startswith("PRODID:") for line in lines) == 1
    event = lines[lines.index("BEGIN:VEVENT") : lines.index("END:VEVENT")]
    said = dict(line.split(":", 1) for line in event)
    assert said["UID"] == "a@b" and said["DTSTAMP"] == "20260301T120000Z"
    assert said["DTSTART"] == "20260302T081500Z" and said["DTEND"] == "20260302T090000Z"
    assert unescaped(said["SUMMARY"]) == "K 1: join, then wait" and unescaped(said["DESCRIPTION"]) == "For x; y"


def test_times_without_a_zone_or_out_of_order_are_refused():
    with pytest.raises(ValueError, match="zone"):
        calendar_text("x", [Sitting("a", datetime(2026, 3, 2, 9), datetime(2026, 3, 2, 10), "x")], stamp=STAMP)
    with pytest.raises(ValueError, match="ends"):
        calendar_text("x", [Sitting("a", START, START, "x")], stamp=STAMP)


def feed(client, address: CalendarAddress):
    return client.get(f"/staff/plan/calendar/{address.token}.ics")


def test_an_address_gives_ones_own_sittings_without_signing_in_until_it_is_ended(client, db):
    exhibition = checklists.an_exhibition()
    ann, bob = checklists.a_member(), checklists.a_member("Bob", skills=["photograph"])
    checklists.listed(exhibition, 3, 3)
    plan = checklists.planned()
    address = services.make_address(ann, by=None, at=checklists.now())
    answer = feed(client, address)
    assert answer.status_code == 200 and answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer.content.decode().count("BEGIN:VEVENT") == plan.steps.filter(staff=ann).count() > 0
    other = services.make_address(bob, by=None, at=checklists.now())
    assert feed(client, other).content.decode().count("BEGIN:VEVENT") == plan.steps.filter(staff=bob).count()
    renewed = services.make_address(ann, by=None, at=checklists.now())
    assert feed(client, address).status_code == 404 and feed(client, renewed).status_code == 200
    services.end_address(ann, by=None, at=checklists.now())
    assert feed(client, renewed).status_code == 404 and feed(client, other).status_code == 200


def test_tokens_are_long_differ_and_stay_out_of_the_record(db):
    ann = checklists.a_member()
    first = services.make_address(ann, by=None, at=checklists.now()).token
    second = services.make_address(ann, by=None, at=checklists.now()).token
    assert first != second and min(len(first), len(second)) >= 43  # 256 bits in base 64
    assert not any(first in str(e.became) + e.note or second in str(e.became) + e.note for e in Event.objects.all())


def test_a_surveyor_changes_only_their_own_address(surveyor, db):
    ann = checklists.a_member()
    assert surveyor.post(f"/staff/plan/calendars/{ann.pk}/", {"to": "new"}).status_code == 400
    ann.user_id = int(surveyor.session["_auth_user_id"])
    ann.save()
    assert surveyor.post(f"/staff/plan/calendars/{ann.pk}/", {"to": "new"}).status_code == 302
    page = surveyor.get("/staff/plan/calendars/").content.decode()
    assert CalendarAddress.objects.get().token in page
    surveyor.post(f"/staff/plan/calendars/{ann.pk}/", {"to": "end"})
    assert not CalendarAddress.objects.exists()


def test_before_any_plan_a_calendar_is_empty_and_not_an_error(client, db):
    checklists.an_exhibition()
    answer = feed(client, services.make_address(checklists.a_member(), by=None, at=checklists.now()))
    assert answer.status_code == 200 and "VEVENT" not in answer.content.decode()
