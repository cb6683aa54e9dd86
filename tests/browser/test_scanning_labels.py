"""A label before a tablet in a store without a network: through the camera, on a photograph, and by its number."""

from __future__ import annotations

import io

import pytest
import segno
from PIL import Image

from survey.register.labels import said_by
from tests.browser.conftest import FLAGS, visiting
from tests.browser.test_store_without_a_network import SHELF, SHELVES, take_along
from tests.suite import chromium

pytestmark = pytest.mark.browser
STRAY = """
from survey.models import Object, Place
other = Place.objects.create(kind='shelf', name='Shelf 2', position=2, path='00002.', full_name='Store A, shelf 2')
Object.objects.create(number='Z 1', number_key='Z 1', simple_name='dish', place=other)
"""


def picture_of(said: str, *, turned: float = 0) -> bytes:
    """A photograph of a label: its square small and turned on grey board, noise all over. Drawn by segno."""
    out = io.BytesIO()
    segno.make(said, error="m", micro=False).save(out, kind="png", scale=9, border=4)
    square = Image.open(out).convert("L").rotate(turned, expand=True, fillcolor=255, resample=Image.Resampling.BICUBIC)
    board = Image.new("L", (1280, 960), 150)
    board.paste(square, (400, 240))
    noisy = Image.blend(board, Image.effect_noise(board.size, 60), 0.12).convert("RGB")
    noisy.save(out := io.BytesIO(), "JPEG", quality=80)
    return out.getvalue()


def a_file(content: bytes) -> dict:
    return {"name": "label.jpg", "mimeType": "image/jpeg", "buffer": content}


def key_of(installation, number: str) -> str:
    (found,) = installation.rows(f"select id from survey_object where number = '{number}'")  # noqa: S608 our own
    key = str(found[0]).replace("-", "")
    return f"{key[:8]}-{key[8:12]}-{key[12:16]}-{key[16:20]}-{key[20:]}"


def wrong(visit) -> list[str]:
    """What went wrong behind the page, but for there being no network."""
    return [each for each in visit.wrong if "ERR_INTERNET_DISCONNECTED" not in each]


def take_both(page, address: str) -> None:
    take_along(page, address)
    page.click("text=Take shelves along")
    page.wait_for_selector("[id^=take-]")
    for tile in page.query_selector_all("[id^=take-]"):
        tile.click()
    page.click("#take")
    page.wait_for_selector(f"{SHELVES} >> nth=1")
    page.context.set_offline(True)
    page.reload()


def test_a_label_opens_what_it_names(browser, empty, tmp_path):
    empty.shell(SHELF + STRAY)
    with visiting(browser, empty, "tablet") as visit:  # this browser has no camera
        page = visit.page
        take_both(page, empty.address)
        page.click(f"{SHELVES} >> nth=0")
        page.click("#scan")
        page.wait_for_selector("text=No camera can be used here")
        page.set_input_files("#label-photograph", a_file(picture_of("https://example.org/")))
        page.wait_for_selector("text=no label of ours")
        page.set_input_files("#label-photograph", a_file(picture_of(said_by(key_of(empty, "Z 1")), turned=200)))
        page.wait_for_selector("h1:has-text('Z 1')")
        page.wait_for_selector("#found-elsewhere[aria-pressed=true]")  # it was scanned on another shelf than its own
        page.evaluate("location.hash = '#/scan/'")
        page.fill("#typed", "s2")
        page.click("button:has-text('Look it up')")
        page.wait_for_selector("h1:has-text('S 2')")
        assert wrong(visit) == [] and visit.overflow() == 0
    seen_by_a_camera(browser, empty, tmp_path)


def seen_by_a_camera(browser, installation, folder) -> None:
    """A browser whose camera shows a film of one label, frame by frame."""
    film = folder / "film.mjpeg"
    film.write_bytes(picture_of(said_by(key_of(installation, "S 3")), turned=12) * 4)
    fake = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
    fake.append(f"--use-file-for-fake-video-capture={film}")
    filming = browser.browser_type.launch(executable_path=chromium(), args=[*FLAGS, *fake])
    try:
        with visiting(filming, installation, "tablet") as visit:
            take_both(visit.page, installation.address)
            visit.page.click("#scan")
            visit.page.wait_for_selector("h1:has-text('S 3')", timeout=40_000)
            assert wrong(visit) == []
    finally:
        filming.close()
