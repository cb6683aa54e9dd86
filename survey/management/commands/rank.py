"""Print the ranking: which objects first."""

from __future__ import annotations

import json
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from collections.abc import Sequence
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from media.templatetags.fettle import percent
from survey.risk.db.models import ObjectRisk
from survey.risk.db.selectors import Wanted, latest_run
from survey.risk.db.selectors.ranking import ORDERS, Order, found

MOST = 100_000

HELP = """Print which objects come first, by the newest scoring: what must not be lifted before all else, then by
expected loss. The chance is of at least one joint letting go before opening day, with its ends over the three beliefs
about how long joints last. It supports a conservator's judgement and replaces none.

Example:
  manage.py rank --limit 10 --checklist
  manage.py rank --without-significance --json
"""


class Command(BaseCommand):
    help = HELP

    def create_parser(self, *args: Any, **kwargs: Any) -> Any:
        return super().create_parser(*args, formatter_class=RawDescriptionHelpFormatter, **kwargs)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--limit", type=int, default=20, help="how many objects to print (default 20)")
        parser.add_argument("--checklist", action="store_true", help="only objects on the checklist")
        parser.add_argument("--without-significance", action="store_true", help="order by expected loss alone")
        parser.add_argument("--json", action="store_true", help="print a JSON list")

    def handle(self, *args: Any, **options: Any) -> None:
        limit = options["limit"]
        if not 1 <= limit <= MOST:
            raise CommandError(f"--limit must be a whole number from 1 to {MOST}.")
        run = latest_run()
        if run is None:
            raise CommandError("Nothing is scored yet. Run: manage.py score")
        order: Order = "without" if options["without_significance"] else "with"
        rows = found(run, Wanted(order=order, listed=options["checklist"])).select_related("object__place")
        first = list(rows.order_by(*ORDERS[order])[:limit])
        if not first:
            where = "on the checklist" if options["checklist"] else "on record"
            raise CommandError(f"No old joint of an object {where} is scored. Survey first, then run: manage.py score")
        for line in [json.dumps([_plain(row) for row in first])] if options["json"] else _table(first, order):
            self.stdout.write(line)


def _plain(row: ObjectRisk) -> dict[str, Any]:
    return {
        "rank_with_significance": row.rank_by_weighted,
        "rank_without_significance": row.rank_by_loss,
        "number": row.object.number,
        "simple_name": row.object.simple_name,
        "place": row.object.place.full_name if row.object.place else None,
        "band": row.band,
        "chance_before_opening": row.before_opening,
        "chance_low": row.before_opening_low,
        "chance_high": row.before_opening_high,
        "chance_among_first": row.among_first,
        "tied": row.ties,
        "worst_stage": row.worst_stage,
        "joints": row.joints,
        "reasons": [reason["text"] for reason in row.reasons],
    }


def _table(rows: Sequence[ObjectRisk], order: Order) -> list[str]:
    """Lines of plain text, columns as wide as their widest entry."""
    heads = ("with", "without") if order == "with" else ("without", "with")
    cells: list[tuple[str, ...]] = [(*heads, "number", "what it is", "asks for", "chance", "stands at")]
    for row in rows:
        ranks = (
            (row.rank_by_weighted, row.rank_by_loss) if order == "with" else (row.rank_by_loss, row.rank_by_weighted)
        )
        three = (row.before_opening_low, row.before_opening, row.before_opening_high)
        low, middle, high = map(percent, three)
        where = row.object.place.full_name if row.object.place else "place not known"
        chance = f"{middle} % ({low}-{high})"
        cells.append(
            (*map(str, ranks), row.object.number, row.object.simple_name[:30], row.get_band_display(), chance, where)
        )
    widths = [max(len(line[column]) for line in cells) for column in range(len(cells[0]))]
    return ["  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip() for line in cells]
