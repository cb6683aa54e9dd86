"""Smaller copies of a photograph for pages and lists: upright, in sRGB, with nothing in them but the picture.

The original is never changed. Renditions are always encoded anew from decoded pixels, so that no place, owner,
serial number, comment or hidden content travels with them.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import BinaryIO, Literal

import numpy as np
from PIL import Image, ImageCms

from media.photographs.sniffing import (
    TAKEN,
    Kind,
    PhotographFacts,
    PhotographRefused,
    examine,
    open_picture,
    read_bounded,
)

LARGE_SIDE, SMALL_SIDE = 1600, 320  # pixels, the longer side
LARGE_QUALITY, SMALL_QUALITY = 85, 78
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_270, 7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}  # fmt: skip
BACKDROP = (255, 255, 255)  # behind what is transparent


@dataclass(frozen=True, slots=True)
class Rendition:
    """One smaller copy; ``width`` and ``height`` in pixels."""

    name: Literal["large", "small"]
    kind: Kind
    width: int
    height: int
    content: bytes


@dataclass(frozen=True, slots=True)
class Glanced:
    """The facts of an original, and its smallest copy: a WebP of at most 320 pixels."""

    facts: PhotographFacts
    small: Rendition


@dataclass(frozen=True, slots=True)
class Rendered:
    """The facts of an original, and its copies: a JPEG of at most 1600 pixels, a WebP of at most 320."""

    facts: PhotographFacts
    large: Rendition
    small: Rendition


def glance(source: bytes | BinaryIO) -> Glanced:
    """Read a photograph to its end, and make no more of it than its small copy.

    A JPEG is decoded at an eighth of its size: that reads all of its coded data, so that damage shows, at a quarter of
    the time and a twentieth of the memory that both copies take.

    Parameters
    ----------
    source : bytes or binary file
        As for `render`.

    Raises
    ------
    PhotographRefused
        Whatever `render` refuses.
    """
    data = read_bounded(source)
    facts = examine(data)
    return Glanced(facts, _small(_decode(data, facts, SMALL_SIDE)))


def render(source: bytes | BinaryIO) -> Rendered:
    """Make both renditions of a photograph.

    Parameters
    ----------
    source : bytes or binary file
        Read within the limits of `media.photographs.sniffing.examine`, and refused as it refuses.

    Raises
    ------
    PhotographRefused
        What `examine` refuses, and a picture whose pixels cannot be decoded to the end.
    """
    data = read_bounded(source)
    facts = examine(data)
    large = _decode(data, facts, LARGE_SIDE)
    large.thumbnail((LARGE_SIDE, LARGE_SIDE), Image.Resampling.LANCZOS, reducing_gap=3.0)
    return Rendered(facts, _encode("large", "jpeg", large), _small(large))


def _small(picture: Image.Image) -> Rendition:
    small = picture.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE), Image.Resampling.LANCZOS)
    return _encode("small", "webp", small)


def _decode(data: bytes, facts: PhotographFacts, side: int) -> Image.Image:
    """The picture upright in sRGB, without notes, no smaller than a rendition of that side needs."""
    with open_picture(data, facts.kind) as picture:
        if facts.kind == "jpeg":
            picture.draft(None, (side, side))  # decodes at a half, a quarter or an eighth where it can
        try:
            picture.load()
        except (OSError, SyntaxError, ValueError, IndexError, struct.error) as error:
            name = facts.kind.upper()
            raise PhotographRefused(f"The {name} is damaged: its picture cannot be read. {TAKEN}") from error
        plain = _to_srgb(picture)
    if facts.orientation in _UPRIGHT:
        plain = plain.transpose(_UPRIGHT[facts.orientation])
    plain.info.clear()  # encoders copy comments and profiles from here
    return plain


def _to_srgb(picture: Image.Image) -> Image.Image:
    """Eight bits a channel in sRGB, by the picture's own profile where it has one that holds."""
    if picture.mode.startswith("I;16") or picture.mode == "I":
        picture = Image.fromarray((np.asarray(picture).astype(np.int64).clip(0, 65_535) >> 8).astype(np.uint8))
    if picture.mode in ("P", "LA", "PA", "RGBA", "RGBa") or "transparency" in picture.info:
        seen = picture.convert("RGBA")
        picture = Image.new("RGB", seen.size, BACKDROP)
        picture.paste(seen, mask=seen.getchannel("A"))
        picture.info["icc_profile"] = seen.info.get("icc_profile")
    profile = picture.info.get("icc_profile")
    if profile and picture.mode in ("RGB", "L", "CMYK"):
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            turned = ImageCms.profileToProfile(picture, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError, ValueError):
            turned = None  # a profile that does not hold says nothing about the colours
        if turned is not None:
            return turned
    return picture.convert("RGB")


def _encode(name: Literal["large", "small"], kind: Literal["jpeg", "webp"], picture: Image.Image) -> Rendition:
    out = io.BytesIO()
    if kind == "jpeg":
        picture.save(out, "JPEG", quality=LARGE_QUALITY, optimize=True, progressive=True)
    else:
        picture.save(out, "WEBP", quality=SMALL_QUALITY, method=4)
    return Rendition(name, kind, picture.width, picture.height, out.getvalue())
