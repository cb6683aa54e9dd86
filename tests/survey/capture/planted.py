"""Bugs to plant, one at a time, by changing a few words in the source of a function: the simulation must catch each."""

from __future__ import annotations

import inspect
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import ModuleType
from typing import Any

from survey.capture import edits
from survey.capture.db.services import assessing, facts, holding, listing, photographs, receiving, settling


@dataclass(frozen=True)
class Bug:
    """In ``function`` of ``module``, ``right`` becomes ``wrong``; ``seed`` is one that is known to catch it."""

    name: str
    module: ModuleType
    function: str
    right: str
    wrong: str
    seed: int = 0

    def __str__(self) -> str:
        return self.name


BUGS = [
    Bug("a repeated operation acts again", receiving, "apply", "had = not new and",
        "had = False and not new and", seed=2),
    Bug("an answer before anything is written", receiving, "apply", "attempt(row)", "_ = row.state = 'applied'"),
    Bug("another body under the same id is taken for the first", receiving, "_row",
        "filter(uuid=outside.id, body_hash=hashed)", "filter(uuid=outside.id)", seed=31),
    Bug("what waits is refused", receiving, "attempt", "State.HELD, why.message, why.waits_for",
        "State.REFUSED, why.message, why.waits_for", seed=3),
    Bug("an operation fails by half", receiving, "attempt", "with transaction.atomic():", "if True:", seed=3),
    Bug("what waits for a thing is never tried again", receiving, "take_in_waiting", "while True:",
        "while False:", seed=6),
    Bug("the tablet's clock is believed", receiving, "_happened", "delivery.sent_at - outside",
        "delivery.at - outside"),
    Bug("the work is whose login brought it", receiving, "_keep",
        "made_by=User.objects.filter(pk=outside.made_by).first()", "made_by=delivery.by", seed=2),
    Bug("an older tablet is read as one of today", receiving, "attempt", "operations.parse(json.loads(row.raw))",
        "operations.parse(json.loads(row.raw) | {'schema_version': 2})", seed=5),
    Bug("a desk's value is written over in silence", settling, "note_edit",
        "canonical(about.current) != canonical(field.shown)", "False", seed=49),
    Bug("a desk's value loses to what arrives", settling, "_shown", "newest and not at_desk", "newest", seed=49),
    Bug("a late arrival is shown though a later edit stands", settling, "_shown",
        "return newest.value if newest and not at_desk else current", "return edits[-1].value", seed=49),
    Bug("a disagreement is never opened", settling, "judge", "len(stand) > 1", "len(stand) > 99", seed=10),
    Bug("a settled disagreement stays open", settling, "judge", "elif there:", "elif False:", seed=5),
    Bug("knowing the other edit counts for nothing", edits, "standing", "edit.id not in overtaken", "True", seed=176),
    Bug("a tablet disagrees with itself", edits, "standing", "edit.device is None or", "True or", seed=111),
    Bug("what a fact was based on is dropped", facts, "change_fact", "after=seen[\"after\"]", "after=()"),
    Bug("a fact is written whatever stands", facts, "change_fact", "body[\"field\"], shown",
        "body[\"field\"], body[\"value\"]", seed=5),
    Bug("what a place was based on is dropped", assessing, "_place", "after=seen[\"after\"]", "after=()"),
    Bug("here means the place of the pack", assessing, "_place", "seen[\"here\"]", "seen[\"value\"]", seed=16),
    Bug("looks are ordered by clocks", assessing, "in_order", "max(estimate, latest + A_MOMENT)", "estimate", seed=9),
    Bug("a late look of one tablet goes last", assessing, "in_order", "if later:", "if False:", seed=16),
    Bug("an open assessment at a desk is taken over", assessing, "_begin", "made = Assessment.objects.create(",
        "made = Assessment.objects.filter(object=thing, finished_at=None).first() or Assessment.objects.create("),
    Bug("a tablet's own parts contradict it", assessing, "_flag_parts", ".exclude(device=row.device_id)", ""),
    Bug("none against new parts is not seen", assessing, "_says", "\"none\" if body", "\"\" if body", seed=28),
    Bug("new parts are made again by each operation", assessing, "_parts", "part is None and told", "told", seed=77),
    Bug("photographs are not waited for", photographs, "want_photographs", "in views.items()", "in ()"),
    Bug("a photograph is not held against its hash", photographs, "take_piece", "hexdigest() != sha256",
        "hexdigest() == ''", seed=16),
    Bug("a withdrawn object is surveyed all the same", holding, "locked_object", "if found.withdrawn_at:",
        "if False:", seed=119),
    Bug("a found object is moved over a move at the desk", listing, "write_place", "found, reason",
        "None, reason", seed=3),
]  # fmt: skip


@contextmanager
def planted(bug: Bug) -> Iterator[None]:
    """The bug in place, wherever the function is known by name. Raises ``LookupError`` if its words are gone."""
    was = getattr(bug.module, bug.function)
    source = textwrap.dedent(inspect.getsource(was))
    if bug.right not in source:
        raise LookupError(f"{bug.name}: {bug.function} has no {bug.right!r}")
    spoilt: dict[str, Any] = {}
    exec(compile(source.replace(bug.right, bug.wrong), bug.name, "exec"), vars(bug.module), spoilt)  # noqa: S102  # ours
    right = was.__code__
    was.__code__ = spoilt[bug.function].__code__
    try:
        yield
    finally:
        was.__code__ = right
