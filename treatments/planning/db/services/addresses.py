"""Secret addresses of people's calendars."""

from __future__ import annotations

import secrets
from datetime import datetime

from django.db import transaction

from media.base import events
from media.base.models import User
from treatments.planning.db.models import CalendarAddress, StaffMember

TOKEN_BYTES = 32


@transaction.atomic
def make_address(member: StaffMember, *, by: User | None, at: datetime) -> CalendarAddress:
    """A new address for somebody's calendar; the one before it stops working. The record keeps no token."""
    CalendarAddress.objects.filter(staff=member).delete()
    row = CalendarAddress.objects.create(staff=member, token=secrets.token_urlsafe(TOKEN_BYTES), made_at=at, by=by)
    events.record(member, "calendar address made", by=by, at=at)
    return row


@transaction.atomic
def end_address(member: StaffMember, *, by: User | None, at: datetime) -> None:
    """The address stops working; twice is once."""
    gone, _ = CalendarAddress.objects.filter(staff=member).delete()
    if gone:
        events.record(member, "calendar address ended", by=by, at=at)
