"""Reading markup: what stands on a photograph, and what stood."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection

from media.base.errors import NotThere
from media.markup import geometry
from media.markup.db.models import Markup
from media.markup.geometry import Drawing
from media.markup.web_annotation import Told

MOST_VERSIONS = 200


def standing_on(photographs: Collection[str]) -> dict[str, list[Markup]]:
    """Photograph to the versions that stand on it, the oldest first, of whoever drew. One query."""
    found: dict[str, list[Markup]] = defaultdict(list)
    rows = Markup.objects.filter(sha256__in=list(photographs), overtaken=False).select_related("author")
    for row in rows.order_by("at", "pk"):
        found[row.sha256].append(row)
    return dict(found)


def versions_of(sha256: str) -> list[Markup]:
    """Every version on a photograph, the newest first, ``MOST_VERSIONS`` at most. One query."""
    rows = Markup.objects.filter(sha256=sha256).select_related("author")
    return list(rows.order_by("-at", "-pk")[:MOST_VERSIONS])


def the_version(pk: str, sha256: str) -> Markup:
    """One version. Raises ``NotThere``."""
    found = Markup.objects.filter(pk=pk, sha256=sha256).select_related("author").first()
    if found is None:
        raise NotThere("This version is not kept here. Look at the photograph for those that are.")
    return found


def drawing_of(row: Markup) -> Drawing:
    return geometry.read(row.drawing)


def told(row: Markup) -> Told:
    """A version as it is given away."""
    return Told(str(row.pk), row.author.shown if row.author else "not known", row.at, drawing_of(row))
