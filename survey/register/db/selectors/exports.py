"""The register list as rows for a file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from survey.register.db.selectors.objects import Wanted, find_objects
from survey.register.exporting import neutralise

COLUMNS = {
    "number": "accession_number",
    "simple_name": "simple_name",
    "title": "title",
    "material": "material",
    "classification": "classification",
    "department": "department",
    "body": "body",
    "date_text": "date",
    "date_earliest": "earliest_year",
    "date_latest": "latest_year",
    "height_mm": "height_mm",
    "width_mm": "width_mm",
    "depth_mm": "depth_mm",
    "diameter_mm": "diameter_mm",
    "mass_kg": "mass_kg",
    "place__full_name": "stands_at",
    "place_text": "place_in_register",
    "significance": "significance",
    "restriction": "restriction",
    "credit_line": "credit_line",
    "acquired_on": "acquired_on",
    "source_id": "source_id",
}
EXPORTS = tuple(COLUMNS.values())
"""Headings of an exported register; an import recognises those that it can fill."""


def export_rows(wanted: Wanted) -> Iterator[list[Any]]:
    """What the list shows, object by object, streamed; no text in it can start to compute in a spreadsheet."""
    found = find_objects(wanted).order_by("number_key").values_list(*COLUMNS)
    for row in found.iterator(chunk_size=2000):
        yield [neutralise("" if value is None else value) for value in row]
