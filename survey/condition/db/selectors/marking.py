"""Reading what is drawn on photographs of objects."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from media.base.errors import NotThere
from media.base.models import User
from media.markup import web_annotation
from media.markup.db import selectors as markup
from media.markup.db.models import Markup
from media.markup.geometry import Mark
from media.markup.tracing import Trace, traced
from media.photographs.sniffing import MEDIA_TYPES
from survey.condition.db.models import Fill, Joint, ObjectPhotograph, Overpaint
from survey.condition.marking import MEASURES, NAMES, SHAPES, UNITS
from survey.register.db.models import Object

Part = Joint | Fill | Overpaint
MODELS: dict[str, type[Joint] | type[Fill] | type[Overpaint]] = {"joint": Joint, "fill": Fill, "overpaint": Overpaint}


@dataclass(frozen=True)
class Board:
    """One photograph with all that is drawn on it."""

    taken: ObjectPhotograph
    standing: Sequence[Markup]
    versions: Sequence[Markup]
    parts: Sequence[dict[str, Any]]

    def mine(self, user: User) -> list[Markup]:
        """The versions of one person that stand; more than one if they drew on two tablets."""
        return [row for row in self.standing if row.author_id == user.pk]

    def others(self, user: User) -> list[Markup]:
        return [row for row in self.standing if row.author_id != user.pk]


def the_taken(pk: int) -> ObjectPhotograph:
    """A photograph of an object. Raises ``NotThere``."""
    rows = ObjectPhotograph.objects.select_related("object", "photograph", "by")
    found = rows.filter(pk=pk).first()
    if found is None:
        raise NotThere("This photograph is not kept with an object. Look at the object's page for those that are.")
    return found


def board(pk: int) -> Board:
    """A photograph, what is drawn on it, and the parts that can be drawn. Six queries. Raises ``NotThere``."""
    taken = the_taken(pk)
    standing = markup.standing_on([taken.photograph_id]).get(taken.photograph_id, [])
    return Board(taken, standing, markup.versions_of(taken.photograph_id), parts_of(taken.object))


def parts_of(thing: Object) -> list[dict[str, Any]]:
    """Joints, fills and overpaint of an object that have not ended, as the board takes them. Three queries."""
    found: list[dict[str, Any]] = []
    for kind, model in MODELS.items():
        rows: list[Part] = list(model._default_manager.filter(restoration__object=thing, ended_at=None))
        field = MEASURES[kind]
        found += [
            {
                "kind": kind, "id": str(row.pk), "label": row.label, "where": row.part, "value": getattr(row, field),
                "shape": SHAPES[kind], "unit": UNITS[field],
            }
            for row in sorted(rows, key=lambda part: (len(part.label), part.label))
        ]  # fmt: skip
    return found


def the_part(kind: str, key: str, thing: Object) -> Part:
    """A part of an object, also one that has ended. Raises ``NotThere``."""
    found = (
        MODELS[kind]._default_manager.select_related("restoration").filter(pk=key, restoration__object=thing).first()
    )
    if found is None:
        raise NotThere("A part that is drawn is not recorded on this object any more: remove its marks.")
    return found


SPOT = 1 / 80  # of a photograph's width: half the sign of a point, as large as is read on a page


def traces_on(photographs: Sequence[str], names: Mapping[str, str]) -> dict[str, list[Trace]]:
    """What stands on some photographs, by photograph, as pages show it; ``names`` gives labels of parts. One query."""
    found = {}
    for name, rows in markup.standing_on(photographs).items():
        drawings = [markup.drawing_of(row) for row in rows]
        found[name] = [each for one in drawings for each in traced(one, names, spot=one.width * SPOT)]
    return found


def as_annotations(found: Board) -> dict[str, Any]:
    """All that stands on a photograph as W3C Web Annotations."""
    labels = {each["id"]: f"{NAMES[each['kind']]} {each['label']}" for each in found.parts}

    def words(mark: Mark) -> str:
        return labels.get(str(mark.target), NAMES.get(mark.term, mark.term))

    photograph = found.taken.photograph
    kind = MEDIA_TYPES[photograph.kind]  # type: ignore[index]  # one of those that are kept
    return web_annotation.page(
        photograph.pk, kind, [markup.told(row) for row in found.standing], words=words
    )  # fmt: skip


def version(found: Board, key: str) -> Markup:
    """One version, also one that was overtaken. Raises ``NotThere``."""
    try:
        uuid.UUID(key)
    except ValueError as error:
        raise NotThere("This version is not kept here. Look at the photograph for those that are.") from error
    return markup.the_version(key, found.taken.photograph_id)
