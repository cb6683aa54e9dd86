"""The outbox of a tablet, brought in a file when there is no other way."""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, BinaryIO

from media.base.errors import FettleError
from media.photographs.db.services import NotAPhotograph
from survey.capture import checking
from survey.capture.checking import Refused
from survey.capture.db.services.devices import note_contact
from survey.capture.db.services.photographs import MOST_BYTES, attach_waiting, keep
from survey.capture.db.services.receiving import Answer, Delivery, apply_all
from survey.capture.reading import NotJson, read_json

MOST_FILES = 5_000
MOST_MANIFEST = 64 * 1024 * 1024
LARGEST = 4 * 1024**3
HIGHEST_RATIO = 200
NOT_OURS = "This is not a file that a tablet made: choose the one that “Take it away in a file” gave."


@dataclass
class Loaded:
    """What became of a file: answers by their status, those to read, and photographs kept or refused."""

    counts: dict[str, int] = field(default_factory=dict)
    answers: list[Answer] = field(default_factory=list)
    photographs: int = 0
    refused: list[str] = field(default_factory=list)


def load(file: BinaryIO, *, delivery: Delivery) -> Loaded:
    """Take in a tablet's file: each operation and photograph as if it had been sent. Twice does no harm.

    Raises ``FettleError`` for a file that no tablet made, and then takes in nothing.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            names = _names(archive)
            manifest = _manifest(archive)
            sent = Delivery(delivery.by, delivery.at, checking.moment(manifest["sent_at"], "sent_at"))
            note_contact(manifest["device"], sent, unsent=0, called=manifest["name"])
            loaded = Loaded()
            for answer in apply_all(manifest["operations"], sent):
                loaded.counts[answer.status] = loaded.counts.get(answer.status, 0) + 1
                loaded.answers.append(answer)
            for name in names:
                _photograph(archive, name, loaded, sent)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise FettleError(NOT_OURS) from error
    attach_waiting(at=delivery.at)
    return loaded


def _names(archive: zipfile.ZipFile) -> list[str]:
    """Hashes of the photographs inside. Everything is judged by its header before anything is read."""
    entries = archive.infolist()
    if len(entries) > MOST_FILES or sum(entry.file_size for entry in entries) > LARGEST:
        raise FettleError("This file holds more than a tablet takes away in one: make smaller ones.")
    names = []
    for entry in entries:
        if entry.file_size > HIGHEST_RATIO * max(entry.compress_size, 1) or entry.flag_bits & 1:
            raise FettleError(NOT_OURS)
        folder, _, name = entry.filename.rpartition("/")
        if folder == "photographs" and checking.SHA256.fullmatch(name) and entry.file_size <= MOST_BYTES:
            names.append(name)
        elif entry.filename != "manifest.json" or entry.file_size > MOST_MANIFEST:
            raise FettleError(NOT_OURS)
    return names


def _manifest(archive: zipfile.ZipFile) -> Mapping[str, Any]:
    try:
        found = read_json(archive.read("manifest.json"))
        needs = ("schema_version", "device", "name", "sent_at", "operations")
        table = checking.table(found, "manifest", needs=needs)
        checking.key(table["device"], "device")
        checking.text(table["name"], "name", most=80)
        checking.moment(table["sent_at"], "sent_at")
        checking.items(table["operations"], "operations", most=MOST_FILES)
    except (KeyError, NotJson, Refused) as error:
        raise FettleError(NOT_OURS) from error
    return table


def _photograph(archive: zipfile.ZipFile, name: str, loaded: Loaded, delivery: Delivery) -> None:
    try:
        keep(archive.read(f"photographs/{name}"), by=delivery.by, at=delivery.at)
    except NotAPhotograph as error:
        loaded.refused.append(error.message)
        return
    loaded.photographs += 1
