"""Who may sign in, and as what; written like every other change, with its event."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from media.base import events
from media.base.errors import Clash, FettleError, NotThere
from media.base.models import Role, User

FIELDS = ("first_name", "last_name", "role", "is_active")


def everybody() -> list[User]:
    """All people of the record, those who may sign in first. One query."""
    return list(User.objects.order_by("-is_active", "last_name", "first_name", "username"))


def person(pk: int) -> User:
    """One person. Raises ``NotThere``."""
    found = User.objects.filter(pk=pk).first()
    if found is None:
        raise NotThere("This person is not in the list any more.")
    return found


@transaction.atomic
def add_person(values: dict[str, Any], password: str, *, by: User | None, at: datetime) -> User:
    """Let somebody sign in. Refused in words for a name that is taken or a password that is too weak."""
    username = str(values["username"]).strip()
    if User.objects.filter(username__iexact=username).exists():
        raise Clash(f"Somebody signs in as {username} already: choose another name.")
    row = User(username=username, **{name: values[name] for name in FIELDS if name in values})
    _set_password(row, password)
    row.save(force_insert=True)
    became = {name: getattr(row, name) for name in ("username", *FIELDS)}
    events.record(row, "may sign in", by=by, at=at, became=became)
    return row


@transaction.atomic
def change_person(row: User, values: dict[str, Any], *, by: User | None, at: datetime) -> User:
    """Change a name or role, or end somebody's right to sign in. A head of conservation must always remain."""
    was = {name: getattr(row, name) for name in FIELDS}
    became = {name: values.get(name, was[name]) for name in FIELDS}
    if was == became:
        return row
    heads = User.objects.filter(role=Role.HEAD, is_active=True).exclude(pk=row.pk)
    if was["role"] == Role.HEAD and (became["role"] != Role.HEAD or not became["is_active"]) and not heads.exists():
        raise Clash("Nobody else is head of conservation: name another one before this one goes.")
    for name, value in became.items():
        setattr(row, name, value)
    row.save(update_fields=list(FIELDS))
    changed = [name for name in FIELDS if was[name] != became[name]]
    events.record(
        row, "changed", by=by, at=at, was={n: was[n] for n in changed}, became={n: became[n] for n in changed}
    )
    return row


@transaction.atomic
def new_password(row: User, password: str, *, by: User | None, at: datetime) -> None:
    """Give somebody a new password; the record says that, never what."""
    _set_password(row, password)
    row.save(update_fields=["password"])
    events.record(row, "has a new password", by=by, at=at)


def _set_password(row: User, password: str) -> None:
    try:
        validate_password(password, row)
    except ValidationError as error:
        raise FettleError(" ".join(error.messages)) from error
    row.set_password(password)
