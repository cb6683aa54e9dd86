"""What a tablet says of itself at each contact."""

from __future__ import annotations

from survey.capture.db.models import Device
from survey.capture.db.services.receiving import Delivery, seen_device


def note_contact(name: str, delivery: Delivery, *, unsent: int, called: str = "") -> Device:
    """Keep when a tablet was last heard of, by whose hands, how much it had left, and how far its clock is off."""
    device = seen_device(name, delivery)
    ahead = (delivery.sent_at - delivery.at).total_seconds() if delivery.sent_at else None
    device.last_seen_at, device.last_by, device.unsent = delivery.at, delivery.by, unsent
    device.clock_ahead_seconds = ahead if ahead is not None else device.clock_ahead_seconds
    device.name = called or device.name
    device.save()
    return device
