"""The factor on estimates, until the department's own finished treatments tell."""

from __future__ import annotations

import math
from datetime import datetime

from django.db import transaction

from media.base import events
from media.base.errors import FettleError
from media.base.models import User
from treatments.hours.db.models import EstimateFactor

LOWEST, HIGHEST = 0.2, 5.0


@transaction.atomic
def set_factor(factor: float, reason: str, *, by: User | None, at: datetime) -> EstimateFactor:
    """Put a factor in force; earlier ones stay in the record. The same one again changes nothing."""
    if not (math.isfinite(factor) and LOWEST <= factor <= HIGHEST):
        raise FettleError(f"The factor must lie between {LOWEST:g} and {HIGHEST:g}; 1 leaves estimates as they are.")
    if not reason.strip():
        raise FettleError("Say why the factor changes; the reason is kept with it.")
    before = EstimateFactor.objects.order_by("-pk").first()
    if before and (before.factor, before.reason) == (factor, reason.strip()):
        return before
    row = EstimateFactor.objects.create(factor=factor, reason=reason.strip()[:500], at=at, by=by)
    events.record(
        row, "set the factor on estimates", by=by, at=at, was={"factor": before.factor if before else 1.0},
        became={"factor": factor}, note=row.reason,
    )  # fmt: skip
    return row
