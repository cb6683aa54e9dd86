"""The ranking as it is shown: rows of the newest finished run."""

from __future__ import annotations

from survey.risk.db.models import RiskRun


def latest_run() -> RiskRun | None:
    """The newest finished run, with its exhibition and parameters."""
    runs = RiskRun.objects.filter(finished_at__isnull=False).select_related("exhibition", "parameters")
    return runs.order_by("-finished_at").first()
