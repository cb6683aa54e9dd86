"""Where photographs lie, and reading them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

from django.conf import settings

from media.base.errors import NotThere
from media.photographs.db.models import Photograph
from media.photographs.sniffing import EXTENSIONS, MEDIA_TYPES, Kind, storage_path

Copy = Literal["original", "screen", "thumb"]
COPIES: tuple[Copy, ...] = ("original", "screen", "thumb")
RENDITION_KINDS: dict[Copy, Kind] = {"screen": "jpeg", "thumb": "webp"}
GONE = "This photograph is not kept here. Look at the object's page for those that are."


@dataclass(frozen=True)
class Stored:
    """A file of a photograph: where it lies, its media type and the name to save it under."""

    photograph: Photograph
    path: Path
    media_type: str
    file_name: str


def the_photograph(sha256: str) -> Photograph:
    """One photograph. Raises ``NotThere``."""
    found = Photograph.objects.filter(pk=sha256).first()
    if found is None:
        raise NotThere(GONE)
    return found


def stored(photograph: Photograph, copy: str) -> Stored:
    """The file of the original, of ``screen`` (1600 pixels) or of ``thumb`` (320). Raises ``NotThere``."""
    if copy not in COPIES:
        raise NotThere("A photograph is kept as original, screen and thumb only.")
    kind = kind_of(photograph, copy)
    name = f"{photograph.sha256[:16]}.{EXTENSIONS[kind]}"
    return Stored(photograph, path_of(photograph.sha256, kind, copy), MEDIA_TYPES[kind], name)


def kind_of(photograph: Photograph, copy: Copy) -> Kind:
    return RENDITION_KINDS.get(copy) or cast(Kind, photograph.kind)


def path_of(sha256: str, kind: Kind, copy: Copy) -> Path:
    """Where a copy lies: below a folder of its own, by the hash of the original."""
    return Path(settings.MEDIA_ROOT) / copy / storage_path(sha256, kind)
