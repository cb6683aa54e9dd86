"""An import from file to state, for the tests of the register."""

from __future__ import annotations

from typing import Any

import pytest

from media.base import jobs
from survey.models import RegisterImport
from survey.register.db.selectors import imports as selectors
from survey.register.db.services import imports
from tests.builders import NOW


class Importing:
    """What the pages do, without the pages: receive, choose, look through, bring in, undo."""

    def receive(self, text: str | bytes, name: str = "register.csv") -> RegisterImport:
        data = text if isinstance(text, bytes) else text.encode()
        return imports.receive([data], name, by=None, at=NOW)

    def look(self, batch: RegisterImport, *, source: str = "Stores register", **options: Any) -> RegisterImport:
        chosen = {**batch.options, "zero_is_missing": True, **options}
        columns = chosen.pop("columns", batch.columns)
        if unit := chosen.pop("unit", None):
            sizes = ("height", "width", "depth", "diameter")
            chosen["units"] = {name: unit for name in sizes if name in columns}
        batch = imports.choose(batch, columns=columns, options=chosen, source=source, by=None, at=NOW)
        return self.run(imports.ask_to_look(batch, by=None))

    def looked(self, text: str | bytes, **options: Any) -> RegisterImport:
        return self.look(self.receive(text), **options)

    def bring_in(self, batch: RegisterImport) -> RegisterImport:
        return self.run(imports.ask_to_bring_in(batch, by=None))

    def brought_in(self, text: str | bytes, **options: Any) -> RegisterImport:
        return self.bring_in(self.looked(text, **options))

    def undo(self, batch: RegisterImport) -> RegisterImport:
        return self.run(imports.ask_to_undo(batch, by=None))

    def run(self, batch: RegisterImport) -> RegisterImport:
        jobs.run(batch.job.pk)
        return selectors.the_import(batch.pk)


@pytest.fixture
def importing(db) -> Importing:
    return Importing()
