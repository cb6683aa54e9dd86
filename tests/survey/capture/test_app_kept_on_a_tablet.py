"""The app that a tablet keeps: a fixed list of files, a version that changes with them, small enough."""

from __future__ import annotations

import gzip
import json
import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

from survey.capture.web import shell

FOLDER = Path(__file__).resolve().parents[3] / "survey/static/survey/capture"


def headed(client) -> tuple[str, list[str], str]:
    answer = client.get("/capture/worker.js")
    assert answer["content-type"] == "text/javascript"
    first, second, rest = answer.content.decode().split("\n", 2)
    return first, json.loads(second.removeprefix("const SHELL = ").rstrip(";")), rest


def test_the_list_holds_every_file_that_the_page_and_its_modules_ask_for(client):
    _, listed, _ = headed(client)
    page = client.get("/capture/").content.decode()
    asked = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', page))
    assert asked <= set(listed)
    assert {f"/static/survey/capture/{path.name}" for path in FOLDER.glob("*.js")} - set(listed) == {
        "/static/survey/capture/worker.js"
    }
    for path in FOLDER.glob("*.js"):
        for name in re.findall(r'from "(\.[^"]+)"', path.read_text()):
            target = (path.parent / name).resolve()
            assert any(target.match(each.removeprefix("/static/")) for each in listed) or target.parent == FOLDER


def test_every_file_of_the_list_is_there(client):
    _, listed, _ = headed(client)
    assert listed[0] == "/capture/" and len(set(listed)) == len(listed)
    assert all(finders.find(path.removeprefix("/static/")) for path in listed[1:])


def test_the_version_changes_with_any_file_and_only_then(client, monkeypatch):
    first = headed(client)[0]
    assert headed(client)[0] == first
    found = shell._found
    monkeypatch.setattr(shell, "_found", lambda name: found(name) + (b" " if name.endswith("sync.js") else b""))
    assert headed(client)[0] != first


def test_the_page_holds_nothing_of_anybody(client, surveyor, db):
    assert client.get("/capture/").content == surveyor.get("/capture/").content
    assert b"csrf" not in client.get("/capture/").content.lower()


def test_the_script_of_this_surface_is_under_ninety_kilobytes_compressed():
    files = [name for name in shell.FILES if name.endswith(".js") and name != shell.READER]
    size = sum(len(gzip.compress(Path(str(finders.find(name))).read_bytes())) for name in files)
    assert size < 90_000


def test_the_reader_of_labels_is_loaded_only_when_it_is_wanted():
    reader = Path(str(finders.find(shell.READER)))
    assert len(gzip.compress(reader.read_bytes())) < 60_000
    asking = [path.name for path in FOLDER.glob("*.js") if "jsQR" in path.read_text()]
    assert asking == ["scanning.js"]
    assert "await import(READER)" in (FOLDER / "scanning.js").read_text()


def test_a_home_screen_is_told_what_it_is(client):
    told = client.get("/capture/app.webmanifest").json()
    assert (told["start_url"], told["scope"], told["display"]) == ("/capture/", "/capture/", "standalone")


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.js")), ids=lambda path: path.name)
def test_modules_are_checked_speak_to_nobody_else_and_make_no_markup_of_text(path):
    text = path.read_text()
    if path.name != "worker.js":
        assert text.startswith("// @ts-check")
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)|innerHTML|outerHTML|eval\(|insertAdjacentHTML", text)


def test_those_who_survey_are_led_to_it_from_every_page(surveyor, reader):
    way = 'href="/capture/"'
    assert way in surveyor.get("/survey/").content.decode()
    assert way not in reader.get("/survey/").content.decode()
