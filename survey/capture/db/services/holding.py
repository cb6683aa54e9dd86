"""Why an operation waits."""

from __future__ import annotations

from media.base.errors import FettleError
from survey.capture.db.models import Made
from survey.register.db.models import Object


class Held(FettleError):
    """Not taken in yet; ``waits_for`` is the name of a thing whose coming is enough, else a person decides."""

    def __init__(self, message: str, *, waits_for: str | None = None) -> None:
        super().__init__(message)
        self.waits_for = waits_for


def locked_object(name: str) -> Object:
    """The object that a tablet means, locked: whatever else speaks of it waits. Raises ``Held``."""
    made = Made.objects.filter(client_id=name, kind="object").first()
    rows = Object.objects.select_for_update(of=("self",)).select_related("place")
    found = rows.filter(pk=made.row_id if made else name).first()
    if found is None:
        raise Held("The object is not known here yet.", waits_for=name)
    if found.withdrawn_at:
        raise Held(f"{found.number} has left the register: take it back there first, or set this aside.")
    return found
