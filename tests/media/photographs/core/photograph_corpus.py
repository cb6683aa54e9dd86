"""Photographs and files that pretend to be photographs, made by code."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from typing import Any

import numpy as np
from PIL import Image, PngImagePlugin

ARROW = np.zeros((48, 64, 3), dtype=np.uint8)  # four corners of four colours: every turn and mirror differs
ARROW[:24, :32], ARROW[:24, 32:], ARROW[24:, :32], ARROW[24:, 32:] = (
    (220, 30, 30), (30, 200, 40), (30, 40, 220), (230, 220, 40)
)  # fmt: skip


def picture(width: int = 640, height: int = 480, mode: str = "RGB") -> Image.Image:
    """A smooth gradient with some grain, as a photograph has."""
    rows, columns = np.mgrid[0:height, 0:width]
    grain = np.random.default_rng(3).integers(0, 12, size=(height, width))
    bands = [(columns * 200 // width + grain), (rows * 200 // height + grain), 90 + grain]
    return Image.fromarray(np.stack(bands, axis=-1).astype(np.uint8)).convert(mode)


def saved(image: Image.Image, kind: str = "JPEG", **options: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def exif(*, orientation: int = 1, taken: str = "2024:05:01 10:22:33", offset: str = "+02:00") -> Image.Exif:
    """Notes of a telling camera: maker, owner, serial number, place, time."""
    notes = Image.Exif()
    notes[0x0112], notes[0x010F], notes[0xA430], notes[0x013B] = orientation, "CamMaker", "Owner Name", "Artist Name"
    inner = notes.get_ifd(0x8769)
    inner[0x9003], inner[0x9011], inner[0xA431] = taken, offset, "SERIAL-123456"
    place = notes.get_ifd(0x8825)
    place[1], place[2], place[3], place[4] = "N", (54.0, 30.0, 15.0), "E", (18.0, 40.0, 5.0)
    return notes


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png(width: int, height: int, *chunks: bytes, pixels: bytes | None = None) -> bytes:
    """A grey PNG that declares this size; ``pixels`` are its compressed rows, few by default."""
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    data = zlib.compress(b"\0" * 64) if pixels is None else pixels
    return b"\x89PNG\r\n\x1a\n" + header + b"".join(chunks) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def whole_bomb(side: int) -> bytes:
    """A PNG of side by side pixels that really decodes: a hundred thousand to one."""
    packer, row = zlib.compressobj(9), b"\0" * (side + 1)
    parts = [packer.compress(row) for _ in range(side)]
    return png(side, side, pixels=b"".join(parts) + packer.flush())


def jpeg_claiming(width: int, height: int) -> bytes:
    """A small JPEG whose frame header claims another size."""
    data = bytearray(saved(picture(64, 48)))
    at = data.index(b"\xff\xc0") + 5
    data[at : at + 4] = struct.pack(">HH", height, width)
    return bytes(data)


def webp_claiming(width: int, height: int) -> bytes:
    """A lossy WebP whose frame header claims another size (14 bits each)."""
    data = bytearray(saved(picture(64, 48), "WEBP"))
    at = data.index(b"\x9d\x01\x2a") + 3
    data[at : at + 4] = struct.pack("<HH", width, height)
    return bytes(data)


def webp_canvas(width: int, height: int) -> bytes:
    """A WebP in the extended form whose canvas claims another size (24 bits each)."""
    data = bytearray(saved(picture(64, 48, "RGBA"), "WEBP", exif=exif().tobytes()))
    at = data.index(b"VP8X") + 12
    data[at : at + 6] = struct.pack("<I", width - 1)[:3] + struct.pack("<I", height - 1)[:3]
    return bytes(data)


def bombs() -> dict[str, bytes]:
    """Twenty files of a few kilobytes that ask for a great deal of memory."""
    made = {f"png {w} x {h}": png(w, h) for w, h in (
        (10_000, 10_001), (7_746, 7_746), (60_000_001, 1), (1, 60_000_001), (30_001, 10), (10, 30_001),
        (2**31 - 1, 2**31 - 1), (50_000, 50_000), (8_000, 7_600))}  # fmt: skip
    made |= {f"jpeg {w} x {h}": jpeg_claiming(w, h) for w, h in (
        (65_500, 65_500), (10_000, 10_000), (7_746, 7_746), (65_535, 1), (1, 65_535))}  # fmt: skip
    made |= {f"webp {w} x {h}": webp_claiming(w, h) for w, h in ((16_383, 16_383), (10_000, 10_000), (8_000, 7_600))}
    made |= {f"webp canvas {w} x {h}": webp_canvas(w, h) for w, h in ((16_777_216, 16_777_216), (10_000, 9_000))}
    made["png whole 10000 x 10000"] = whole_bomb(10_000)
    return made


def animated_png() -> bytes:
    frames = [picture(32, 24), picture(32, 24).rotate(90)]
    return saved(frames[0], "PNG", save_all=True, append_images=frames[1:])


def animated_webp() -> bytes:
    frames = [picture(32, 24), picture(32, 24).rotate(90)]
    return saved(frames[0], "WEBP", save_all=True, append_images=frames[1:])


def jpeg_with(segment: int, body: bytes) -> bytes:
    """A JPEG with one more application or comment segment after its start."""
    data = saved(picture(64, 48))
    return data[:2] + bytes((0xFF, segment)) + struct.pack(">H", len(body) + 2) + body + data[2:]


def zip_archive() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("run.txt", "x" * 400)
    return out.getvalue()


def script_comment_jpeg() -> bytes:
    """The known picture that is also a script: its first segment is as long as ``/*`` says."""
    body = b"JFIF\0\x01\x01\0\0\x01\0\x01\0\0" + b"\0" * (0x2F2A - 16)
    data = saved(picture(64, 48))
    first = struct.unpack(">H", data[4:6])[0]
    return data[:4] + b"/*" + body + data[4 + first :]


def impostors() -> dict[str, bytes]:
    """What must be refused though it is small: other types, broken files, two things in one, moving pictures."""
    jpeg, webp = saved(picture()), saved(picture(), "WEBP")
    small_png = saved(picture(64, 48), "PNG")
    page = b"<!doctype html><html><body onload=alert(1)></body></html>"
    svg = b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
    text = PngImagePlugin.PngInfo()
    text.add_text("Comment", "<script>alert(1)</script>")
    return {
        "nothing": b"",
        "svg": svg,
        "svg without prologue": b"\xef\xbb\xbf \n<svg onload='x'></svg>",
        "html": page,
        "html behind blanks": b"\n\n   " + page,
        "gif": saved(picture(32, 24), "GIF"),
        "bmp": saved(picture(32, 24), "BMP"),
        "tiff": saved(picture(32, 24), "TIFF"),
        "pdf": b"%PDF-1.7\n%%EOF",
        "zip": zip_archive(),
        "text": b"a photograph",
        "video": b"\0\0\0\x18ftypisom\0\0\0\0isommp42" + b"\0" * 64,
        "heic sequence": b"\0\0\0\x18ftyphevc\0\0\0\0hevcmsf1" + b"\0" * 64,
        "only a jpeg start": b"\xff\xd8\xff\xe0",
        "only a png start": b"\x89PNG\r\n\x1a\n",
        "only a webp start": webp[:12],
        "jpeg cut in half": jpeg[: len(jpeg) // 2],
        "jpeg without its end": jpeg[:-2],
        "png cut in half": small_png[: len(small_png) // 2],
        "png without its end": small_png[:-12],
        "png with a damaged chunk": small_png[:60] + bytes((small_png[60] ^ 0xFF,)) + small_png[61:],
        "webp cut in half": webp[: len(webp) // 2],
        "jpeg of no size": jpeg_claiming(0, 0),
        "png of no size": png(0, 5),
        "jpeg and zip": jpeg + zip_archive(),
        "jpeg and page": jpeg + page,
        "jpeg and pdf": jpeg + b"%PDF-1.4",
        "jpeg with page in a comment": jpeg_with(0xFE, page),
        "jpeg with php in notes": jpeg_with(0xE1, b"<?php x() ?>"),
        "jpeg with pdf in notes": jpeg_with(0xE2, b"%PDF-1.4 obj"),
        "jpeg that is a script": script_comment_jpeg(),
        "png and zip": small_png + zip_archive(),
        "png and page": small_png + page,
        "png and a byte": small_png + b"x",
        "png with script in text": saved(picture(64, 48), "PNG", pnginfo=text),
        "webp and page": webp + page,
        "webp and zip": webp + zip_archive(),
        "animated png": animated_png(),
        "animated webp": animated_webp(),
    }
