"""Look a register file through, and bring it in if asked to."""

from __future__ import annotations

import json
import sys
import threading
import time
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from media.base import jobs
from media.base.errors import FettleError
from media.base.models import Job, JobState
from survey.register.db.models import ImportState, RegisterImport, Verdict
from survey.register.db.selectors.imports import the_import
from survey.register.db.services import imports
from survey.register.fields import FIELDS
from survey.register.units import LENGTHS

EXAMPLE = """example:
  manage.py import_register stores.csv --source "Stores register" --unit cm --zero-is-not-recorded
  manage.py import_register stores.csv --source "Stores register" --keep Material=earthenware,porcelain --yes

Without --yes nothing is written to the register: only what it would do is shown."""


class Command(BaseCommand):
    help = (
        "Look a register file (CSV or .xlsx) through; with --yes, bring it in. It can be undone from the imports page."
    )

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> Any:
        formatter = {"epilog": EXAMPLE, "formatter_class": RawDescriptionHelpFormatter}
        return super().create_parser(prog_name, subcommand, **(kwargs | formatter))

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the registrar's file")
        parser.add_argument("--source", required=True, help="name of the register; its columns are remembered")
        parser.add_argument("--unit", choices=sorted(LENGTHS), help="unit of the sizes")
        parser.add_argument("--zero-is-not-recorded", action="store_true", help="a size of 0 means not recorded")
        parser.add_argument("--decimal-comma", action="store_true", help="decimals are written 12,5")
        parser.add_argument(
            "--keep", metavar="COLUMN=WORDS", help="take only rows whose column contains one of the words"
        )
        parser.add_argument("--column", action="append", default=[], metavar="FIELD=COLUMN", help="correct a guess")
        parser.add_argument("--yes", action="store_true", help="bring it in")
        parser.add_argument("--json", action="store_true", help="counts as JSON, for machines")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            batch = self._looked_through(options)
            if options["yes"]:
                batch = self._done(imports.ask_to_bring_in(batch, by=None))
        except FettleError as error:
            raise CommandError(error.message) from error
        self._tell(batch, as_json=options["json"])

    def _looked_through(self, options: dict[str, Any]) -> RegisterImport:
        batch = _received(options["file"])
        columns = {**batch.columns, **_pairs(options["column"])}
        if unknown := [name for name in columns if name not in {field.name for field in FIELDS}]:
            raise CommandError(
                f"--column: there is no field {unknown[0]}. Fields: {', '.join(f.name for f in FIELDS)}."
            )
        sizes = [field.name for field in FIELDS if field.kind == "length" and field.name in columns]
        chosen = dict(batch.options)
        if options["unit"]:
            chosen["units"] = {**chosen.get("units", {}), **dict.fromkeys(sizes, options["unit"])}
        chosen["zero_is_missing"] = options["zero_is_not_recorded"] or chosen.get("zero_is_missing", False)
        if options["decimal_comma"]:
            chosen["decimal"] = ","
        if options["keep"]:
            column, words = next(iter(_pairs([options["keep"]]).items()))
            kept = [word.strip() for word in words.split(",") if word.strip()]
            chosen["keep"] = {"column": column, "how": "contains", "words": kept}
        batch = imports.choose(
            batch, columns=columns, options=chosen, source=options["source"], by=None, at=timezone.now()
        )
        return self._done(imports.ask_to_look(batch, by=None))

    def _done(self, batch: RegisterImport) -> RegisterImport:
        """Do the import's job here and now, with a bar on a terminal."""
        row = _worked(batch.job.pk, shown=self.stderr.isatty()) if batch.job else None
        if row is None or row.state != JobState.DONE:
            raise CommandError((row and row.error) or "The work was stopped: start it again from the imports page.")
        batch = the_import(batch.pk)
        if batch.state == ImportState.REFUSED:
            raise CommandError(batch.error)
        return batch

    def _tell(self, batch: RegisterImport, *, as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps({"import": str(batch.pk), "state": batch.state, **batch.counts}))
            return
        done = batch.state == ImportState.APPLIED
        self.stdout.write(f"{batch.file_name}: {'brought in' if done else 'looked through, nothing written yet'}.")
        for verdict in Verdict:
            self.stdout.write(f"{batch.counts[verdict.value]:>9,}  {verdict.label.lower()}")
        for row in batch.rows.filter(verdict=Verdict.REFUSED).order_by("line")[:10]:
            self.stdout.write(f"           {row.reason}")
        if not done:
            self.stdout.write("Add --yes to bring it in.")


def _worked(pk: Any, *, shown: bool) -> Job:
    """The job, done here or by a worker that took it first; meanwhile a bar, if it is shown."""
    over = threading.Event()
    bar = threading.Thread(target=_draw, args=(pk, over), daemon=True)
    if shown:
        bar.start()
    try:
        while True:
            jobs.run(pk)
            row = Job.objects.get(pk=pk)
            if row.ended:
                return row
            time.sleep(0.5)
    finally:
        over.set()
        if shown:
            bar.join()


def _draw(pk: Any, over: threading.Event) -> None:
    while not over.wait(0.3):
        row = Job.objects.get(pk=pk)
        filled = round(30 * (row.share or 0))
        sys.stderr.write(f"\r{'#' * filled}{'.' * (30 - filled)} {row.done:,} {row.saying[:60]:<60}")
        sys.stderr.flush()
    sys.stderr.write("\r" + " " * 110 + "\r")
    connection.close()


def _received(path: Path) -> RegisterImport:
    try:
        with path.open("rb") as file:
            chunks = iter(lambda: file.read(1 << 20), b"")
            batch = imports.receive(chunks, path.name, by=None, at=timezone.now())
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}. Check the path.") from error
    if batch.state == ImportState.REFUSED:
        raise CommandError(batch.error)
    return batch


def _pairs(texts: list[str]) -> dict[str, str]:
    pairs = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not (name.strip() and equals and value.strip()):
            raise CommandError(f"“{text}” is not of the form NAME=VALUE.")
        pairs[name.strip()] = value.strip()
    return pairs
