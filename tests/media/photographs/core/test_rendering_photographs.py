"""Facts of an original, and the copies made from it."""

from __future__ import annotations

import hashlib
import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from media.photographs.renditions import render
from media.photographs.sniffing import examine, sniff, storage_path
from tests.media.photographs.core import photograph_corpus as corpus

# Which stored corner is seen top left, top right, bottom left, bottom right for Exif orientation 1 to 8, corners of
# the stored picture numbered 0 1 / 2 3. Source: Exif 2.3 (CIPA DC-008), tag Orientation: "the 0th row is at the
# visual top / right / bottom / left side of the image, and the 0th column ...".
SEEN = {1: (0, 1, 2, 3), 2: (1, 0, 3, 2), 3: (3, 2, 1, 0), 4: (2, 3, 0, 1),
        5: (0, 2, 1, 3), 6: (2, 0, 3, 1), 7: (3, 1, 2, 0), 8: (1, 3, 0, 2)}  # fmt: skip
SECRETS = (b"SERIAL-123456", b"Owner Name", b"Artist Name", b"CamMaker", b"Exif", b"ICC_PROFILE", b"ICCP", b"XMP")


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content)).convert("RGB")


def corners(image: Image.Image) -> list[np.ndarray]:
    width, height = image.size
    at = [(x, y) for y in (height // 4, height * 3 // 4) for x in (width // 4, width * 3 // 4)]
    return [np.array(image.getpixel(point), dtype=int) for point in at]


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_stands_upright(kind, orientation):
    stored = Image.fromarray(corpus.ARROW)
    options = {"quality": 95} if kind != "PNG" else {}
    data = corpus.saved(stored, kind, exif=corpus.exif(orientation=orientation).tobytes(), **options)
    made = render(data)
    expected = (64, 48) if orientation < 5 else (48, 64)
    assert (made.facts.width, made.facts.height) == expected
    wanted = [corners(stored)[place] for place in SEEN[orientation]]
    for copy in (made.large, made.small):
        assert (copy.width, copy.height) == expected
        for seen, want in zip(corners(opened(copy.content)), wanted, strict=True):
            assert np.abs(seen - want).max() < 40


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_nothing_of_the_cameras_notes_reaches_a_copy(kind):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    options = {"comment": b"Owner Name"} if kind == "JPEG" else {}
    data = corpus.saved(corpus.picture(), kind, exif=corpus.exif().tobytes(), icc_profile=profile, **options)
    assert b"SERIAL-123456" in data
    made = render(data)
    for copy in (made.large, made.small):
        assert not [secret for secret in SECRETS if secret in copy.content]
        again = Image.open(io.BytesIO(copy.content))
        assert not dict(again.getexif())
        assert set(again.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "progressive", "progression",
                                   "loop", "background", "timestamp", "duration"}  # fmt: skip


def test_the_original_is_left_alone():
    data = corpus.saved(corpus.picture(), exif=corpus.exif().tobytes())
    kept = bytes(bytearray(data))
    made = render(data)
    assert data == kept
    assert made.facts.sha256 == hashlib.sha256(kept).hexdigest()
    assert made.facts.size == len(kept)


def test_copies_have_their_size_and_type():
    made = render(corpus.saved(corpus.picture(4000, 3000)))
    assert (made.facts.width, made.facts.height) == (4000, 3000)
    for copy, size, kind in ((made.large, (1600, 1200), "JPEG"), (made.small, (320, 240), "WEBP")):
        image = Image.open(io.BytesIO(copy.content))
        assert image.size == (copy.width, copy.height) == size
        assert image.format == kind
        assert sniff(copy.content) == copy.kind


def test_a_small_photograph_is_not_blown_up():
    made = render(corpus.saved(corpus.picture(200, 100)))
    assert (made.large.width, made.large.height) == (made.small.width, made.small.height) == (200, 100)


def test_a_strip_keeps_a_pixel_of_width():
    made = render(corpus.saved(corpus.picture(6000, 2), "PNG"))
    assert (made.large.width, made.large.height) == (1600, 1)


@pytest.mark.parametrize(
    ("taken", "offset", "expected"),
    [("2024:05:01 10:22:33", "+02:00", "2024-05-01 10:22:33+02:00"), ("2024:05:01 10:22:33", "", "2024-05-01 10:22:33"),
     ("    :  :     :  :  ", "+02:00", ""), ("0000:00:00 00:00:00", "", ""), ("<b>2024</b>", "+02:00", ""),
     ("2024:05:01 10:22:33", "<b>", "2024-05-01 10:22:33")],
)  # fmt: skip
def test_when_it_was_taken_is_the_cameras_text_or_nothing(taken, offset, expected):
    data = corpus.saved(corpus.picture(64, 48), exif=corpus.exif(taken=taken, offset=offset).tobytes())
    assert examine(data).taken_at == expected


@pytest.mark.filterwarnings("ignore:Corrupt EXIF")
def test_no_notes_and_broken_notes_do_no_harm():
    assert examine(corpus.saved(corpus.picture(64, 48))).taken_at == ""
    broken = corpus.saved(corpus.picture(64, 48), exif=b"Exif\0\0MM\0*\0\0\0\x08\xff\xff" + b"\x01\x12" * 30)
    facts = examine(broken)
    assert (facts.width, facts.height, facts.taken_at) == (64, 48, "")


def test_bytes_and_a_file_give_the_same_facts(tmp_path):
    data = corpus.saved(corpus.picture(), "WEBP")
    path = tmp_path / "photograph.exe"  # a wrong name is nobody's business
    path.write_bytes(data)
    with path.open("rb") as file:
        assert examine(file) == examine(data)
    assert examine(data).kind == "webp"


@pytest.mark.parametrize("mode", ["CMYK", "L", "RGB"])
def test_jpegs_of_every_colour_kind_are_taken(mode):
    made = render(corpus.saved(corpus.picture(mode=mode), quality=95))
    assert made.facts.kind == "jpeg"
    seen = np.asarray(opened(made.large.content), dtype=int)
    want = np.asarray(corpus.picture(mode=mode).convert("RGB"), dtype=int)
    assert np.abs(seen - want).mean() < 4


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16"])
def test_pngs_of_every_colour_kind_are_taken(mode):
    if mode == "I;16":
        image = Image.fromarray(np.asarray(corpus.picture(mode="L")).astype(np.uint16) * 257)
    else:
        image = corpus.picture(mode=mode)
    made = render(corpus.saved(image, "PNG"))
    want = np.asarray(corpus.picture(mode="1" if mode == "1" else "L" if mode in ("L", "LA", "I;16") else "RGB")
                      .convert("RGB"), dtype=int)  # fmt: skip
    assert np.abs(np.asarray(opened(made.large.content), dtype=int) - want).mean() < (40 if mode in ("P", "1") else 5)


def test_what_is_transparent_turns_white():
    image = Image.new("RGBA", (60, 40), (200, 0, 0, 0))
    made = render(corpus.saved(image, "PNG"))
    assert np.asarray(opened(made.large.content)).min() > 250


def test_colours_are_turned_to_srgb_by_the_pictures_own_profile():
    """A profile whose red and green primaries are exchanged must exchange red and green (ICC.1, matrix profiles)."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    exchanged = profile.replace(b"rXYZ", b"?XYZ").replace(b"gXYZ", b"rXYZ").replace(b"?XYZ", b"gXYZ")
    plain = Image.new("RGB", (64, 48), (180, 90, 60))

    def middle(**options: bytes) -> np.ndarray:
        copy = render(corpus.saved(plain, "JPEG", quality=95, **options)).large
        return np.array(opened(copy.content).getpixel((32, 24)), dtype=int)

    assert np.abs(middle(icc_profile=exchanged) - (90, 180, 60)).max() < 6
    assert np.abs(middle(icc_profile=profile) - (180, 90, 60)).max() < 6
    assert np.abs(middle(icc_profile=b"no profile" * 20) - (180, 90, 60)).max() < 6


def test_a_second_picture_behind_a_jpeg_is_what_cameras_do():
    first, second = corpus.saved(corpus.picture(64, 48)), corpus.saved(corpus.picture(32, 24))
    facts = examine(first + second)
    assert (facts.width, facts.height) == (64, 48)


def test_the_limit_itself_is_allowed():
    facts = examine(corpus.png(10_000, 6_000))
    assert facts.width * facts.height == 60_000_000


def test_an_original_lies_where_its_content_says():
    sha = hashlib.sha256(b"x").hexdigest()
    assert storage_path(sha, "jpeg") == f"{sha[:2]}/{sha[2:4]}/{sha}.jpg"
    for wrong in ("", "../../etc/passwd", sha.upper(), sha + "0"):
        with pytest.raises(ValueError, match="sha256"):
            storage_path(wrong, "jpeg")
    with pytest.raises(ValueError, match="kind"):
        storage_path(sha, "exe")  # type: ignore[arg-type]
