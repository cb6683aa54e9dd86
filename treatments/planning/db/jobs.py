"""Planning as a job: a plan by rule of thumb at once, then better ones; stopped, the best so far stays."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from concurrent.futures import Future, ThreadPoolExecutor, wait
from typing import Any

from django.utils import timezone

from media.base.jobs import Cancelled, HandedBack, LeaseLost, Work, job
from media.templatetags.fettle import chance
from treatments.planning.db import selectors, services
from treatments.planning.db.models import Plan
from treatments.planning.db.selectors import Offer
from treatments.planning.replan import replan_instance
from treatments.planning.solve import solve_instance

TICK = 0.5  # seconds between looks at a search
SHORT = 2.0  # seconds of the search whose plan is kept while a longer one goes on
PER_CENT = 100


@job("treatments.planning.solve")
def solve_plan(work: Work, *, plan_id: str) -> None:
    """Make one plan. Interrupted it begins anew, which the seed makes the same; what was kept stays until beaten."""
    row = Plan.objects.select_related("exhibition", "by", "replaces").get(pk=plan_id)
    if row.finished_at is None:
        _make(work, row)
    work.finish({"plan": str(row.pk), "share": row.share, "left_out": len(row.left_out)})


def _make(work: Work, row: Plan) -> None:
    work.say("Gathering the work", total=PER_CENT)
    pins, held = selectors.pins_of(row.replaces), selectors.held_objects(row.replaces)
    offer = selectors.offer_for(row)
    old = selectors.as_core(row.replaces, offer) if row.replaces else None
    if row.seconds == 0 and old is not None:
        found = replan_instance(offer.instance, old, pinned=sorted(held))
        with work.step(done=PER_CENT - work.row.done, saying="The plan is adapted"):
            services.keep_plan(row, offer, found, pins, at=timezone.now(), last=True)
        return
    kept = _Keeping(work, row, offer, old, pins, held)
    kept.keep(services.make_first(offer), saying="A first plan is there; looking for better ones")
    if row.seconds > 2 * SHORT:
        kept.keep(solve_instance(offer.instance, seconds=SHORT, seed=row.seed))
    _search(kept)


class _Keeping:
    """Holds what is pinned or in a locked week in place in what was found, and writes it if it beats what is kept."""

    def __init__(
        self,
        work: Work,
        row: Plan,
        offer: Offer,
        old: Mapping[str, Any] | None,
        pins: Mapping[str, int],
        held: Collection[str],
    ) -> None:
        self.work, self.row, self.offer, self.old, self.pins, self.held = work, row, offer, old, pins, held

    def pinned(self, found: dict[str, Any]) -> dict[str, Any]:
        if not self.held or self.old is None:
            return found
        held = {name for name in self.held if name in self.old["levels"]}
        merged = {
            "levels": {**found["levels"], **{name: self.old["levels"][name] for name in held}},
            "steps": [
                *(step for step in found["steps"] if step[0] not in held),
                *(step for step in self.old["steps"] if step[0] in held),
            ],
        }
        again = replan_instance(self.offer.instance, merged, pinned=sorted(held))
        again.pop("moved")
        return {**found, **again}

    def keep(self, found: dict[str, Any], *, saying: str = "") -> None:
        with self.work.step(saying=saying):
            self._write(found, last=False)

    def close(self, found: dict[str, Any]) -> None:
        """Write the end of a search; outside of a step, since a job that is asked to stop can take none any more."""
        self._write(found, last=True)

    def _write(self, found: dict[str, Any], *, last: bool) -> None:
        services.keep_plan(self.row, self.offer, self.pinned(found), self.pins, at=timezone.now(), last=last)


class _Search:
    """What the threads of a search say of it, and whether it is to end."""

    def __init__(self) -> None:
        self.share, self.best, self.end = 0.0, 0.0, False

    def tell(self, share: float, benefit: float, bound: float) -> bool:
        self.share = max(self.share, share)
        self.best = max(self.best, benefit / bound if 0 < bound < float("inf") else 0.0)
        return self.end


def _search(kept: _Keeping) -> None:
    """Search in a thread, while this one, which holds the database, tells the page and hears a stop."""
    search, row = _Search(), kept.row
    with ThreadPoolExecutor(1) as pool:
        future = pool.submit(
            solve_instance, kept.offer.instance, seconds=row.seconds, seed=row.seed, progress=search.tell
        )
        try:
            _follow(kept.work, search, future.done, future)
        except Cancelled:
            search.end = True
            kept.close(future.result())
            raise
        except (HandedBack, LeaseLost):
            search.end = True
            raise
    with kept.work.step(done=PER_CENT - kept.work.row.done, saying="The plan is ready"):
        kept.close(future.result())


def _follow(work: Work, search: _Search, over: Callable[[], bool], future: Future[dict[str, Any]]) -> None:
    counted = work.row.done
    while not over():
        wait([future], timeout=TICK)
        now = int(search.share * (PER_CENT - 1))
        saying = f"Best so far: {chance(search.best)} of what is possible" if search.best else ""
        with work.step(done=now - counted, saying=saying):
            counted = now
    work.row.done = counted
