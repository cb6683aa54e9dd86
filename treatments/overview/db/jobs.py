"""Drawing the demo's photographs in the background, so that the first start does not wait for them."""

from __future__ import annotations

from datetime import date
from functools import partial

from django.utils import timezone

from media.base.jobs import Work, job
from media.photographs.db import services as photographs
from survey.condition import marking
from survey.condition.db.models import ObjectPhotograph
from survey.condition.db.services.marking import draw_on


@job("treatments.demo_photographs")
def draw_photographs(work: Work, *, today: str, seed: int, count: int) -> None:
    """Draw and take in each photograph of the demo scenario; begun again, it goes on where it was."""
    # Only this job needs the demo: what serves a real register does not load it.
    from fixtures.demo.album import Album
    from fixtures.demo.loading import key_id
    from fixtures.demo.scenario import build
    from fixtures.demo.tracing import traced

    scenario = build(date.fromisoformat(today), seed=seed, objects=count)
    album, shots = Album(scenario), scenario.photographs
    work.say("Drawing photographs", total=len(shots))
    for number in range(int(work.cursor or 0), len(shots)):
        shot = shots[number]
        drawn = album.draw(shot)
        with work.step(cursor=str(number + 1), done=1):
            kept = photographs.receive(drawn.jpeg, by=None, at=timezone.now())
            taken = ObjectPhotograph.objects.create(
                object_id=key_id(scenario, shot.object),
                assessment_id=key_id(scenario, shot.assessment) if shot.assessment else None,
                photograph=kept,
                view=shot.view,
                moment=shot.moment,
                at=shot.taken_at if shot.taken_at.tzinfo else timezone.make_aware(shot.taken_at),
            )
            if taken.assessment:
                told = marking.read(traced(drawn, shot.key, partial(key_id, scenario)))
                if told.marks:
                    draw_on(taken, told, after=(), by=taken.assessment.surveyor, at=taken.at)
    work.finish({"photographs": len(shots)})
