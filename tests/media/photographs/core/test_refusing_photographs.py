"""What comes from outside is refused with one clear line, quickly, and without decoding it."""

from __future__ import annotations

import io
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from media.photographs.renditions import glance, render
from media.photographs.sniffing import MAX_BYTES, PhotographRefused, examine
from tests.media.photographs.core import photograph_corpus as corpus

BOMBS, IMPOSTORS = corpus.bombs(), corpus.impostors()
ROOT = Path(__file__).parents[4]
QUICK_SECONDS = 0.05
EXTRA_KB = 20_000  # both limits: a proposal of our own, of which a hundredfold was measured without them


def test_the_corpus_is_as_large_as_it_should_be():
    assert len(BOMBS) == 20
    assert len(IMPOSTORS) >= 38
    assert all(len(data) < 200_000 for data in BOMBS.values())


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused_at_once(name):
    spent = []
    for _ in range(3):  # the best of three: other work shares the machine
        began = time.perf_counter()
        with pytest.raises(PhotographRefused, match="megapixels"):
            examine(BOMBS[name])
        spent.append(time.perf_counter() - began)
    assert min(spent) < QUICK_SECONDS


def peak_growth(program: str, data: bytes) -> list[int]:
    """Numbers that a program prints in a process of its own; ``peak()`` in it is its largest memory so far, in kB."""
    start = (
        "import io, re, sys; from pathlib import Path; from PIL import Image; Image.preinit()\n"
        "peak = lambda: int(re.search(r'VmHWM:\\s+(\\d+)', Path('/proc/self/status').read_text())[1])\n"
        "data = sys.stdin.buffer.read()\n"
    )
    command = [sys.executable, "-W", "ignore", "-c", start + program]
    done = subprocess.run(command, cwd=ROOT, input=data, capture_output=True, check=True)
    return [int(number) for number in done.stdout.split()]


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_takes_no_memory(name):
    program = (
        "from media.photographs.sniffing import PhotographRefused, examine\n"
        "before, refused = peak(), 0\n"
        "try: examine(data)\n"
        "except PhotographRefused: refused = 1\n"
        "print(refused, peak() - before)\n"
    )
    refused, extra_kb = peak_growth(program, BOMBS[name])
    assert refused == 1
    assert extra_kb < EXTRA_KB


def test_decoding_the_whole_bomb_would_take_memory():
    """The measure above can fail: the same file, decoded, needs what it claims."""
    program = "before = peak(); Image.open(io.BytesIO(data)).load(); print(peak() - before)\n"
    assert peak_growth(program, BOMBS["png whole 10000 x 10000"])[0] > 4 * EXTRA_KB


@pytest.mark.parametrize("name", IMPOSTORS)
def test_an_impostor_is_refused_in_one_line(name):
    for look in (examine, render):
        with pytest.raises(PhotographRefused) as refused:
            look(IMPOSTORS[name])
        line = str(refused.value)
        assert "\n" not in line
        assert 20 < len(line) < 220
        assert line.endswith(".")


@pytest.mark.parametrize(
    ("name", "words"),
    [("svg", "SVG"), ("html", "web page"), ("gif", "GIF"), ("pdf", "PDF"), ("zip", "archive"), ("tiff", "TIFF"),
     ("jpeg cut in half", "incomplete"), ("animated png", "moves"), ("animated webp", "moves"),
     ("jpeg and zip", "also holds"), ("png and a byte", "follows"), ("nothing", "empty")],
)  # fmt: skip
def test_the_line_says_what_is_wrong(name, words):
    with pytest.raises(PhotographRefused, match=words):
        examine(IMPOSTORS[name])


def test_a_picture_with_a_hole_is_refused_when_it_is_decoded():
    data = bytearray(corpus.saved(corpus.picture(), "WEBP"))
    data[200 : len(data) - 40] = b"\0" * (len(data) - 240)
    broken = corpus.png(40, 40)  # rows are missing, every chunk is whole
    for content in (bytes(data), broken):
        with pytest.raises(PhotographRefused):
            render(content)
        with pytest.raises(PhotographRefused):
            glance(content)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_no_cut_of_a_photograph_is_taken_for_a_whole_one(kind):
    whole = corpus.saved(corpus.picture(80, 60), kind)
    for stop in range(1, len(whole)):
        with pytest.raises(PhotographRefused):
            examine(whole[:stop])


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_damage_anywhere_is_refused_or_harmless_but_never_a_crash(kind):
    rng = np.random.default_rng(11)
    whole = corpus.saved(corpus.picture(80, 60), kind)
    for _ in range(400):
        data = bytearray(whole)
        for place in rng.integers(0, len(data), size=rng.integers(1, 8)):
            data[place] = int(rng.integers(256))
        try:
            made = render(bytes(data))
        except PhotographRefused as refused:
            with pytest.raises(PhotographRefused, match=re.escape(str(refused))):
                glance(bytes(data))
            continue
        assert glance(bytes(data)).facts == made.facts
        assert made.large.width * made.large.height <= 1600 * 1600


def test_too_many_bytes_are_not_even_read():
    class Endless(io.BytesIO):
        given = 0

        def read(self, size=-1, /):
            Endless.given += size
            return b"\xff" * size

    with pytest.raises(PhotographRefused, match="20 MB"):
        examine(Endless())
    assert Endless.given == MAX_BYTES + 1


def test_a_jpeg_with_endless_scans_is_refused():
    data = corpus.saved(corpus.picture(64, 48), progressive=True)
    start = data.index(b"\xff\xda")
    stop = data.index(b"\xff", start + 2)
    while data[stop + 1] in (0, *range(0xD0, 0xD8)):
        stop = data.index(b"\xff", stop + 2)
    with pytest.raises(PhotographRefused, match="scans"):
        examine(data[:start] + data[start:stop] * 200 + data[start:])


def test_heic_without_its_library_says_what_to_do(monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(PhotographRefused, match=r"most compatible format \(JPEG\).*pillow-heif"):
        examine(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 64)
