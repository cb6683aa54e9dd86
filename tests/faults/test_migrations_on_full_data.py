"""Migrations run forward and back over a loaded database, and no row is lost on the way."""

from __future__ import annotations

import pytest

from tests.processes import Installation

APPS = ("media", "survey", "treatments")


@pytest.fixture
def loaded(tmp_path):
    installation = Installation(tmp_path)
    try:
        installation.manage("migrate", "-v", "0")
        installation.manage("defaults")
        installation.manage("demo", "--objects", "400", "--no-photographs")
        yield installation
    finally:
        installation.close()


def counts(installation: Installation) -> dict[str, int]:
    tables = (
        "media_user", "media_event", "survey_object", "survey_place", "survey_assessment", "survey_joint",
        "survey_sign", "survey_checklistentry", "survey_objectrisk", "survey_jointrisk", "treatments_treatment",
        "treatments_loggedtime", "treatments_objectforecast", "treatments_staffmember",
    )  # fmt: skip
    return {table: installation.rows(f"SELECT count(*) FROM {table}")[0][0] for table in tables}  # noqa: S608 our names


def test_every_migration_goes_back_and_forward_over_full_data(loaded):
    before = counts(loaded)
    assert before["survey_object"] == 400 and before["treatments_loggedtime"] > 0
    for app in reversed(APPS):
        found = loaded.rows(f"SELECT name FROM django_migrations WHERE app = '{app}' ORDER BY id")  # noqa: S608
        names = [name for (name,) in found]
        if len(names) > 1:
            loaded.manage("migrate", app, names[0], "-v", "0")
            assert counts(loaded) == before, f"{app} back to {names[0]}"
    loaded.manage("migrate", "-v", "0")
    assert counts(loaded) == before
