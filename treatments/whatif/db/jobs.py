"""What-if reckonings as jobs: progress by scenario, the same seed the same answer, written whole at the end."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils import timezone

from media.base.errors import FettleError
from media.base.jobs import Work, job
from treatments.planning.solve import warm_up
from treatments.whatif.db import selectors, services
from treatments.whatif.db.models import Comparison, GivingWay
from treatments.whatif.giving_way import MOST_EVALUATIONS

PER_CENT = 100
AS_IT_IS = "As it is"


@job("treatments.whatif.compare")
def compare(work: Work, *, comparison_id: int) -> None:
    """Reckon the record as it is and every scenario. Interrupted, it begins anew; the seed makes it the same."""
    row = Comparison.objects.select_related("exhibition", "by").get(pk=comparison_id)
    if row.finished_at is None:
        _compare(work, row)
    work.finish({"comparison": row.pk})


def _compare(work: Work, row: Comparison) -> None:
    asked: list[tuple[str, str, dict[str, Any]]] = [("", AS_IT_IS, {})]
    asked += [(str(one.pk), one.name, one.changes) for one in selectors.scenarios(row.exhibition)]
    work.say("Gathering the work", total=PER_CENT * len(asked))
    warm_up()
    there = selectors.ground(row.exhibition, timezone.localtime(row.made_at).replace(tzinfo=None))
    numbers = {str(pk): number for pk, number in there.numbers.items()}
    done, results = _Done(work), []
    for turn, (key, name, changes) in enumerate(asked):
        said = {"scenario": key, "name": name, "words": selectors.change_words(changes, numbers)}

        def tell(share: float, turn: int = turn, name: str = name) -> None:
            done.at(PER_CENT * turn + int(share * PER_CENT), f"Reckoning: {name}")

        try:
            found = services.reckon(there, changes, seed=row.seed, trials=row.trials, tell=tell)
        except FettleError as error:
            found = {"refused": error.message}
        results.append(said | found)
    done.at(
        PER_CENT * len(asked), "All scenarios are reckoned",
        writing=lambda: services.keep_comparison(row, results, at=timezone.now()),
    )  # fmt: skip


class _Done:
    """Tells the job how far it is; an attempt that was interrupted may have been further."""

    def __init__(self, work: Work) -> None:
        self.work, self.counted = work, work.row.done

    def at(self, now: int, saying: str = "", *, writing: Callable[[], None] | None = None) -> None:
        with self.work.step(done=now - self.counted, saying=saying):
            if writing:
                writing()
        self.counted = now


@job("treatments.whatif.give_way")
def give_way(work: Work, *, giving_way_id: int) -> None:
    """Search for the least that must give way. Interrupted, it begins anew."""
    row = GivingWay.objects.select_related("exhibition", "by").get(pk=giving_way_id)
    if row.finished_at is None:
        _give_way(work, row)
    work.finish({"giving_way": row.pk, "reached": row.result.get("reached")})


def _give_way(work: Work, row: GivingWay) -> None:
    work.say("Gathering the work", total=MOST_EVALUATIONS)
    there = selectors.ground(row.exhibition, timezone.localtime(row.made_at).replace(tzinfo=None))
    done = _Done(work)
    result = services.find_least(
        row, there,
        tell=lambda tried: done.at(min(tried, MOST_EVALUATIONS - 1), f"{tried} ways of giving way were tried"),
    )  # fmt: skip
    done.at(
        MOST_EVALUATIONS, "The search has ended",
        writing=lambda: services.keep_giving_way(row, result, at=timezone.now()),
    )  # fmt: skip
