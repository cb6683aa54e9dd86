"""Reading logger files: the list, one with its months, and what counts already where it stood."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings
from django.db.models import Count, Max, Min, Sum
from numpy.typing import NDArray

from media.base.errors import NotThere
from media.base.pages import Page, keyset
from survey.register.db.models import Place
from survey.risk.climate import mean_rates
from survey.risk.db.models import LoggedMonth, LoggerFile, LoggerFileState
from survey.risk.db.selectors.climate import SHAPE, Constants, sums_from

LOOK_JOB = "survey.risk.look_through_loggers"


@dataclass(frozen=True)
class Stay:
    """A place where a logger stood; ``since`` None from the beginning, ``place`` None where it stood nowhere."""

    place: Place | None
    since: date | None


@dataclass(frozen=True)
class PlaceSummary:
    """What a file says of one place."""

    place: Place
    first: date
    last: date
    months: int
    readings: int
    days: float
    temperature: float
    temperature_low: float
    temperature_high: float
    humidity: float
    humidity_low: float
    humidity_high: float
    rate: float


def folder() -> Path:
    """Where files of loggers are kept, by their hash."""
    return Path(settings.UPLOADS) / "loggers"


def stored(sha256: str) -> Path:
    return folder() / sha256


def the_file(pk: uuid.UUID) -> LoggerFile:
    """One file. Raises ``NotThere``."""
    found = LoggerFile.objects.select_related("job", "received_by").filter(pk=pk).first()
    if found is None:
        raise NotThere("This file does not exist any more. Look for it among the files of loggers.")
    return found


def files_page(*, after: str | None, size: int = 50) -> Page[LoggerFile]:
    """Files, the latest first. One query."""
    return keyset(
        LoggerFile.objects.select_related("received_by"), order=["-received_at", "-id"], after=after, size=size
    )


def stays_of(file: LoggerFile) -> list[Stay]:
    """Where the logger stood, in order of time. One query."""
    keys = [pk for pk, _ in file.stays if pk]
    places = {str(place.pk): place for place in Place.objects.filter(pk__in=keys)}
    return [Stay(places.get(pk) if pk else None, date.fromisoformat(day) if day else None) for pk, day in file.stays]


def summaries_of(file: LoggerFile, constants: Constants) -> list[PlaceSummary]:
    """What a file says of each place, in walking order, with the mean rate of ageing. Three queries."""
    ends = {"first": Min("month"), "last": Max("month"), "months": Count("pk"), "read": Sum("readings")}
    sums = {"covered": Sum("days"), "warm": Sum("temperature_days"), "damp": Sum("humidity_days")}
    bounds = {
        "warm_low": Min("temperature_low"),
        "warm_high": Max("temperature_high"),
        "damp_low": Min("humidity_low"),
        "damp_high": Max("humidity_high"),
    }
    grouped: Any = file.months.order_by().values("place").annotate(**ends, **sums, **bounds)
    rows: dict[uuid.UUID, dict[str, Any]] = {row["place"]: row for row in grouped}
    found, rates = [], _rates(file, constants)
    for place in Place.objects.filter(pk__in=rows).order_by("path"):
        row = rows[place.pk]
        days = row["covered"] or 1.0
        found.append(
            PlaceSummary(
                place, row["first"], row["last"], row["months"], row["read"], row["covered"],
                row["warm"] / days, row["warm_low"], row["warm_high"],
                row["damp"] / days, row["damp_low"], row["damp_high"], rates.get(place.pk, float("nan")),
            )
        )  # fmt: skip
    return found


def _rates(file: LoggerFile, constants: Constants) -> dict[uuid.UUID, float]:
    """Mean rate of ageing in each place over all that a file says of it."""
    held: dict[uuid.UUID, tuple[float, NDArray[np.float64]]] = {}
    for place, days, stored_sums in file.months.values_list("place_id", "days", "sums"):
        before = held.get(place, (0.0, np.zeros(SHAPE)))
        held[place] = before[0] + days, before[1] + sums_from(stored_sums)
    energy, exponent = constants.activation_energy, constants.humidity_exponent
    return {
        place: float(mean_rates(sums, days, activation_energy=energy, humidity_exponent=exponent))
        for place, (days, sums) in held.items()
    }


def counted_already(file: LoggerFile) -> list[tuple[Place, LoggerFile, int]]:
    """Other files that count in the same months of the same places, with how many months. Two queries."""
    mine = set(file.months.values_list("place_id", "month"))
    if not mine:
        return []
    others = LoggedMonth.objects.filter(
        place__in={place for place, _ in mine}, file__state=LoggerFileState.COUNTED
    ).exclude(file=file)
    shared: dict[tuple[uuid.UUID, uuid.UUID], int] = {}
    for place, other, month in others.values_list("place_id", "file_id", "month"):
        if (place, month) in mine:
            shared[place, other] = shared.get((place, other), 0) + 1
    files = LoggerFile.objects.in_bulk([other for _, other in shared])
    places = Place.objects.in_bulk([place for place, _ in shared])
    return [(places[place], files[other], months) for (place, other), months in shared.items()]


def same_content(file: LoggerFile) -> Sequence[LoggerFile]:
    """Files of the very same content that count. One query."""
    return list(LoggerFile.objects.filter(sha256=file.sha256, state=LoggerFileState.COUNTED).exclude(pk=file.pk)[:5])
