"""What a photograph is, decided by its content, before a pixel of it is decoded.

A name or a declared type is never believed. What is refused is refused with one line that can stand on a page.
"""

from __future__ import annotations

import hashlib
import importlib
import importlib.util
import io
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import BinaryIO, Literal

from PIL import Image, UnidentifiedImageError

from media.photographs.containers import Broken, Layout, walk_jpeg, walk_png, walk_webp

Kind = Literal["jpeg", "png", "webp", "heic"]

MAX_BYTES = 20_000_000
MAX_PIXELS = 60_000_000
MAX_SIDE = 30_000  # pixels: a strip of one pixel by sixty million is no photograph
TAKEN = "Take the photograph again, or send it as JPEG, PNG or WebP."

EXTENSIONS: dict[Kind, str] = {"jpeg": "jpg", "png": "png", "webp": "webp", "heic": "heic"}
MEDIA_TYPES: dict[Kind, str] = {
    "jpeg": "image/jpeg", "png": "image/png", "webp": "image/webp", "heic": "image/heic"
}  # fmt: skip
PILLOW_FORMATS: dict[Kind, str] = {"jpeg": "JPEG", "png": "PNG", "webp": "WEBP", "heic": "HEIF"}

_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"mif1")
_HEIC_SEQUENCES = (b"hevc", b"hevx", b"msf1")
_OTHER_TYPES = (
    (b"GIF8", "a GIF"), (b"%PDF-", "a PDF"), (b"BM", "a BMP picture"), (b"II*\x00", "a TIFF or camera raw file"),
    (b"MM\x00*", "a TIFF or camera raw file"), (b"PK\x03\x04", "a zip archive or office document"),
    (b"\x00\x00\x01\x00", "an icon"), (b"8BPS", "a layered picture"), (b"MZ", "a program"), (b"\x7fELF", "a program"),
)  # fmt: skip
_TEXT_TYPES = (
    (re.compile(rb"<svg[\s>]", re.IGNORECASE), "an SVG drawing"),
    (re.compile(rb"<(!doctype\s+html|html|head|body|script)[\s>]", re.IGNORECASE), "a web page"),
    (re.compile(rb"\A<\?xml", re.IGNORECASE), "an XML file"),
)
# What another program could run or unpack, looked for only where no pixels are.
_ACTIVE = re.compile(
    rb"<script|<svg[\s>]|<html[\s>]|<!doctype\s+html|<iframe|<body[\s>]|<\?php|javascript:"
    rb"|%PDF-|Rar!\x1a\x07|7z\xbc\xaf\x27\x1c",
    re.IGNORECASE,
)
_ZIP_END, _ZIP_END_REACH = b"PK\x05\x06", 66_000  # an archive is found from its end, whatever stands before it

_EXIF_SUB, _EXIF_TAKEN, _EXIF_OFFSET, _EXIF_ORIENTATION = 0x8769, 0x9003, 0x9011, 0x0112
_TAKEN_AT = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)")
_OFFSET = re.compile(r"[+-]\d\d:\d\d")


class PhotographRefused(ValueError):
    """The file is no photograph that can be kept; the text says what is wrong and what to do."""


@dataclass(frozen=True, slots=True)
class PhotographFacts:
    """What is known of an original without decoding it; ``width`` and ``height`` in pixels are those seen upright.

    ``orientation`` is 1 to 8 as in Exif (CIPA DC-008): how the stored picture must be turned to stand upright.
    ``taken_at`` is the camera's own text, unchecked: ``2024-05-01 10:22:33+02:00``, without the offset if the camera
    gave none, empty if it gave no time.
    """

    sha256: str
    kind: Kind
    width: int
    height: int
    size: int
    orientation: int
    taken_at: str


def examine(source: bytes | BinaryIO) -> PhotographFacts:
    """Facts about a photograph from its content.

    Parameters
    ----------
    source : bytes or binary file
        A file is read from where it stands, never further than one byte beyond the limit.

    Raises
    ------
    PhotographRefused
        Empty, too large, of another type, more than one picture, broken off, or something else as well.
    """
    data = read_bounded(source)
    kind = sniff(data)
    notes = None
    if kind == "heic":
        _register_heic()
    else:
        notes = _check_structure(data, kind).exif
    with open_picture(data, kind) as picture:
        _check_size(*picture.size)
        if kind != "jpeg" and getattr(picture, "n_frames", 1) > 1:
            raise PhotographRefused(f"This {kind.upper()} holds more than one picture. Send a single photograph.")
        orientation, taken_at = _exif(picture, kind, data[slice(*notes)] if notes else b"")
        width, height = picture.size if orientation < 5 else picture.size[::-1]
    return PhotographFacts(hashlib.sha256(data).hexdigest(), kind, width, height, len(data), orientation, taken_at)


def read_bounded(source: bytes | BinaryIO) -> bytes:
    """The bytes of ``source``; PhotographRefused if there are none or more than `MAX_BYTES`."""
    data = bytes(source) if isinstance(source, bytes | bytearray | memoryview) else source.read(MAX_BYTES + 1)
    if not data:
        raise PhotographRefused("The file is empty. Send the photograph again.")
    if len(data) > MAX_BYTES:
        raise PhotographRefused(f"The file is larger than {MAX_BYTES // 1_000_000} MB. Send a smaller photograph.")
    return data


def sniff(data: bytes) -> Kind:
    """The type that the first bytes show; PhotographRefused, naming what it is instead, for all but four types."""
    if data.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    if data[4:8] == b"ftyp":
        return _sniff_heic(data)
    raise PhotographRefused(f"This file is {_other_type(data)}, not a photograph. {TAKEN}")


def storage_path(sha256: str, kind: Kind) -> str:
    """Where an original lies below the store of originals: ``ab/cd/<sha256>.<extension>``, from its content alone."""
    if not re.fullmatch(r"[0-9a-f]{64}", sha256):
        raise ValueError("sha256 must be 64 hexadecimal digits, lower case")
    if kind not in EXTENSIONS:
        raise ValueError(f"kind must be one of {', '.join(EXTENSIONS)}")
    return f"{sha256[:2]}/{sha256[2:4]}/{sha256}.{EXTENSIONS[kind]}"


def open_picture(data: bytes, kind: Kind) -> Image.Image:
    """The picture opened by the one decoder that its content calls for, header only; PhotographRefused if it cannot."""
    try:
        return Image.open(io.BytesIO(data), formats=[PILLOW_FORMATS[kind]])
    except Image.DecompressionBombError as error:
        raise PhotographRefused(_too_many_pixels()) from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, struct.error) as error:
        raise PhotographRefused(f"The {kind.upper()} is damaged: its header cannot be read. {TAKEN}") from error


def _check_structure(data: bytes, kind: Kind) -> Layout:
    """Refuse by walking the container: size, frames, wholeness, and content for other programs."""
    walks: dict[Kind, Callable[[bytes], Layout]] = {"jpeg": walk_jpeg, "png": walk_png, "webp": walk_webp}
    try:
        layout = walks[kind](data)
    except Broken as error:
        raise PhotographRefused(f"The {kind.upper()} is damaged or incomplete: {error}. {TAKEN}") from error
    _check_size(layout.width, layout.height)
    if layout.frames > 1:
        raise PhotographRefused(f"This {kind.upper()} moves. Send a single photograph.")
    tail = memoryview(data)[layout.end :]
    # Cameras put a second picture or their own notes after a JPEG; nothing honest follows the other two.
    if kind != "jpeg" and any(tail):
        raise PhotographRefused(f"Something follows the picture in this {kind.upper()} file. {TAKEN}")
    active = any(_ACTIVE.search(data, start, stop) for start, stop in layout.aside)
    archive = _ZIP_END in data[max(layout.end, len(data) - _ZIP_END_REACH) :]
    script = kind == "jpeg" and data[4:6] in (b"/*", b"//")  # a segment length that a browser reads as a comment
    if active or archive or script:
        raise PhotographRefused(f"This {kind.upper()} also holds a page, a script or an archive. {TAKEN}")
    return layout


def _check_size(width: int, height: int) -> None:
    if width < 1 or height < 1:
        raise PhotographRefused(f"The picture has no size. {TAKEN}")
    if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE:
        raise PhotographRefused(f"{_too_many_pixels()} This one has {width} by {height}.")


def _too_many_pixels() -> str:
    return f"A photograph may have {MAX_PIXELS // 1_000_000} megapixels and {MAX_SIDE} pixels a side."


def _sniff_heic(data: bytes) -> Kind:
    length = int.from_bytes(data[:4], "big")
    brands = [data[8:12], *(data[place : place + 4] for place in range(16, min(length, 128), 4))]
    if any(brand in _HEIC_SEQUENCES for brand in brands):
        raise PhotographRefused("This HEIC file moves. Send a single photograph.")
    if not any(brand in _HEIC_BRANDS for brand in brands):
        raise PhotographRefused(f"This file is a video or another kind of container, not a photograph. {TAKEN}")
    archive = _ZIP_END in data[-_ZIP_END_REACH:]
    if archive or _ACTIVE.search(data, 0, 1_024):
        raise PhotographRefused(f"This HEIC also holds a page, a script or an archive. {TAKEN}")
    if importlib.util.find_spec("pillow_heif") is None:
        raise PhotographRefused(
            "This is a HEIC photograph, which this server cannot read. Set the camera to its most compatible format "
            "(JPEG), or have pillow-heif installed on the server."
        )
    return "heic"


def _register_heic() -> None:
    importlib.import_module("pillow_heif").register_heif_opener()


def _other_type(data: bytes) -> str:
    for start, name in _OTHER_TYPES:
        if data.startswith(start):
            return name
    text = data[:4_096].removeprefix(b"\xef\xbb\xbf").lstrip()
    for pattern, name in _TEXT_TYPES:
        if pattern.search(text):
            return name
    return "of another type"


def _exif(picture: Image.Image, kind: Kind, notes: bytes) -> tuple[int, str]:
    """(orientation 1 to 8, when taken); a photograph whose notes cannot be read is still a photograph."""
    exif = Image.Exif()
    try:
        if kind == "png":
            exif.load(notes)
        else:
            exif = picture.getexif()
        orientation = exif.get(_EXIF_ORIENTATION, 1)
        inner = exif.get_ifd(_EXIF_SUB)
        taken, offset = str(inner.get(_EXIF_TAKEN, "")), str(inner.get(_EXIF_OFFSET, ""))
    except (OSError, SyntaxError, ValueError, KeyError, TypeError, struct.error):
        return 1, ""
    found = _TAKEN_AT.fullmatch(taken.strip("\x00 "))
    when = f"{found[1]}-{found[2]}-{found[3]} {found[4]}" if found and found[1] != "0000" else ""
    zone = offset.strip("\x00 ")
    orientation = orientation if orientation in range(1, 9) else 1
    return orientation, when + (zone if when and _OFFSET.fullmatch(zone) else "")
