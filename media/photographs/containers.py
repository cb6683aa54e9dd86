"""The outer structure of JPEG, PNG and WebP files, walked without decoding a pixel.

Each walk gives the size that the header declares, whether there is more than one frame, which stretches of the file
are not pixels (metadata, and whatever follows the picture), and whether the file is whole. Walks are linear in the
size of the file and hold no copy of it.
"""

from __future__ import annotations

import re
import struct
import zlib
from dataclasses import dataclass, field

MAX_SCANS = 100  # of one JPEG: each costs a pass over the picture, real progressive files have about ten
MAX_PARTS = 5_000  # segments or chunks of one file

# In the coded data of a JPEG a marker is FF and a byte that is neither stuffing, a restart mark nor a filler.
_MARKER_IN_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_START_OF_FRAME = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_STANDALONE = frozenset({0x01, *range(0xD0, 0xD8)})


class Broken(ValueError):
    """The structure ends early or contradicts itself."""


@dataclass(slots=True)
class Layout:
    """What a walk found; ``aside`` are (start, stop) of stretches that are not pixels, ``end`` is where it stopped."""

    width: int = 0
    height: int = 0
    frames: int = 1
    end: int = 0
    exif: tuple[int, int] | None = None  # of a PNG, whose decoder would otherwise read all pixels to find it
    aside: list[tuple[int, int]] = field(default_factory=list)


def walk_jpeg(data: bytes) -> Layout:
    """Walk the segments of a JPEG (ITU-T T.81, annex B) up to its end-of-image marker. Raises Broken."""
    layout = Layout()
    position, scans = 2, 0
    for _ in range(MAX_PARTS):
        marker, position = _next_marker(data, position)
        if marker == 0xD9:
            if not scans or not layout.width:
                raise Broken("no picture before its end")
            layout.end = position
            layout.aside.append((position, len(data)))
            return layout
        if marker in _STANDALONE:
            continue
        length = _unpack(">H", data, position)[0]
        if length < 2 or position + length > len(data):
            raise Broken("a segment runs past the end")
        if marker in _START_OF_FRAME:
            layout.height, layout.width = _unpack(">HH", data, position + 3)
        elif marker >= 0xE0:  # application data and comments
            layout.aside.append((position, position + length))
        position += length
        if marker == 0xDA:
            scans += 1
            if scans > MAX_SCANS:
                raise Broken(f"more than {MAX_SCANS} scans")
            found = _MARKER_IN_SCAN.search(data, position)
            if found is None:
                raise Broken("the picture breaks off")
            position = found.start()
    raise Broken(f"more than {MAX_PARTS} segments")


def _next_marker(data: bytes, position: int) -> tuple[int, int]:
    """(marker, position after it); fillers before a marker are allowed."""
    start = position
    while position < len(data) and data[position] == 0xFF:
        position += 1
    if position == start or position >= len(data):
        raise Broken("a marker is missing")
    return data[position], position + 1


def walk_png(data: bytes) -> Layout:
    """Walk the chunks of a PNG (ISO/IEC 15948) up to its end chunk, checksums included. Raises Broken."""
    layout = Layout()
    position, pixels = 8, False
    for turn in range(MAX_PARTS):
        length, kind = _unpack(">I4s", data, position)
        start, stop = position + 8, position + 8 + length
        checksum = _unpack(">I", data, stop)[0]
        if zlib.crc32(memoryview(data)[position + 4 : stop]) != checksum:
            raise Broken("a chunk is damaged")
        if (turn == 0) != (kind == b"IHDR"):
            raise Broken("the header is not where it belongs")
        if kind == b"IHDR":
            layout.width, layout.height = _unpack(">II", data, start)
        elif kind == b"acTL":
            layout.frames = max(2, _unpack(">I", data, start)[0])
        elif kind == b"IDAT":
            pixels = True
        elif kind == b"IEND":
            if not pixels:
                raise Broken("no picture before its end")
            layout.end = stop + 4
            layout.aside.append((layout.end, len(data)))
            return layout
        else:
            layout.aside.append((start, stop))
            if kind == b"eXIf":
                layout.exif = (start, stop)
        position = stop + 4
    raise Broken(f"more than {MAX_PARTS} chunks")


def walk_webp(data: bytes) -> Layout:
    """Walk the chunks of a WebP file (RIFF container, RFC 9649) to the end that it declares. Raises Broken."""
    layout = Layout()
    layout.end = 8 + _unpack("<I", data, 4)[0]
    if layout.end > len(data):
        raise Broken("the picture breaks off")
    position, pictures = 12, 0
    for _ in range(MAX_PARTS):
        if position + 8 > layout.end:
            break
        kind, length = _unpack("<4sI", data, position)
        start, stop = position + 8, position + 8 + length
        if stop > layout.end:
            raise Broken("a chunk runs past the end")
        if kind in (b"VP8 ", b"VP8L", b"VP8X"):
            width, height = _webp_size(kind, data, start)
            layout.width, layout.height = max(layout.width, width), max(layout.height, height)
            pictures += kind != b"VP8X"
        elif kind in (b"ANIM", b"ANMF"):
            layout.frames += 1
        elif kind != b"ALPH":
            layout.aside.append((start, stop))
        position = stop + length % 2
    else:
        raise Broken(f"more than {MAX_PARTS} chunks")
    if not pictures and layout.frames == 1:
        raise Broken("no picture inside")
    layout.aside.append((layout.end, len(data)))
    return layout


def _webp_size(kind: bytes, data: bytes, start: int) -> tuple[int, int]:
    if kind == b"VP8X":
        low, high = _unpack("<I", data, start + 4)[0] & 0xFFFFFF, _unpack("<I", data, start + 6)[0] >> 8
        return low + 1, high + 1
    if kind == b"VP8L":
        signature, bits = _unpack("<BI", data, start)
        if signature != 0x2F:
            raise Broken("the picture does not begin as it should")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    mark, width, height = _unpack("<3sHH", data, start + 3)
    if mark != b"\x9d\x01\x2a":
        raise Broken("the picture does not begin as it should")
    return width & 0x3FFF, height & 0x3FFF


def _unpack(layout: str, data: bytes, position: int) -> tuple:
    try:
        return struct.unpack_from(layout, data, position)
    except struct.error as error:
        raise Broken("the file breaks off") from error
