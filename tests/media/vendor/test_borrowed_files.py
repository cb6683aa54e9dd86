"""Borrowed files are what they were when they were copied, with their licences, and none is unknown."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parents[3] / "media/static/media/vendor"
LISTED = json.loads((FOLDER / "vendor.json").read_text())["files"]
OURS = {"vendor.json", "README.md"}


def departures(folder: Path, listed: list[dict[str, str]]) -> list[str]:
    """Files that are changed, missing or unknown."""
    known = {entry["name"]: entry["sha256"] for entry in listed}
    there = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()} - OURS
    changed = [
        name for name in known.keys() & there if hashlib.sha256((folder / name).read_bytes()).hexdigest() != known[name]
    ]
    return sorted([*changed, *(there ^ known.keys())])


def test_borrowed_files_are_unchanged_and_all_listed():
    assert departures(FOLDER, LISTED) == []


def test_each_package_has_its_licence_beside_it():
    packages = {entry["package"] for entry in LISTED}
    assert {entry["package"] for entry in LISTED if entry["name"].endswith("LICENSE")} == packages
    assert all(entry["licence"] and entry["version"] for entry in LISTED)


@pytest.mark.parametrize("harm", ["change", "lose", "add"])
def test_a_departure_is_found(tmp_path, harm):
    for entry in LISTED:
        path = tmp_path / entry["name"]
        path.parent.mkdir(exist_ok=True)
        path.write_bytes((FOLDER / entry["name"]).read_bytes())
    victim = tmp_path / LISTED[0]["name"]
    if harm == "change":
        victim.write_bytes(victim.read_bytes() + b" ")
    elif harm == "lose":
        victim.unlink()
    else:
        (victim.parent / "more.js").write_text("")
    assert len(departures(tmp_path, LISTED)) == 1
