"""What a file is by its content: kind, text encoding and delimiter. Its name is never trusted."""

import codecs
import csv
import io
import re
from collections.abc import Iterator
from typing import BinaryIO, Literal

from survey.register.table import RegisterFileError

DELIMITERS = (",", ";", "\t", "|")
"""Tried in this order; the first of equally good ones is taken."""

ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1", "iso8859-15", "cp1250", "mac-roman", "cp850")
"""What a person may choose; the first four are found without asking."""

_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old .xls workbook or one with a password"),
    (b"\x89PNG", "an image"),
    (b"\xff\xd8\xff", "an image"),
    (b"GIF8", "an image"),
    (b"II*\x00", "an image"),
    (b"MM\x00*", "an image"),
    (b"RIFF", "an image, sound or film"),
    (b"\x1f\x8b", "a compressed archive"),
    (b"BZh", "a compressed archive"),
    (b"7z\xbc\xaf\x27\x1c", "a compressed archive"),
    (b"Rar!", "a compressed archive"),
    (b"\xfd7zXZ", "a compressed archive"),
    (b"SQLite format 3\x00", "a database"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"{\\rtf", "a text document"),
)
_MARKUP = (
    (rb"\s*%PDF-", "a PDF"),
    (rb"\s*(<!--.*?-->\s*)*(<\?xml[^>]*>\s*)?<(!doctype\s+html|html|head|body|table|meta|div)\b", "a web page"),
    (rb"\s*<(\?xml|!doctype|svg)\b", "an XML document"),
    (rb"\s*[\[{]\s*[{\"]", "a JSON document"),
)
_BOMS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_CONTROLS = re.compile(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")
_HEAD = 65_536
_CHUNK = 1_000_000


def kind_of(file: BinaryIO) -> Literal["text", "zip"]:
    """Text or zip by content. Anything else is refused with what it is and what to do instead."""
    file.seek(0)
    head = file.read(_HEAD)
    if not head.strip(b" \t\r\n\x00") or head.strip() in {bom for bom, _ in _BOMS}:
        raise RegisterFileError("The file is empty. Export the register again and choose that file.")
    if head.startswith((b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")):
        return "zip"
    for signature, what in _SIGNATURES:
        # "MZ" and "BZh" may open a heading; real ones are binary.
        if head.startswith(signature) and (len(signature) > 3 or _CONTROLS.search(head)):
            _refuse_kind(what)
    text_head = head.removeprefix(codecs.BOM_UTF8)
    for pattern, what in _MARKUP:
        if re.match(pattern, text_head, re.IGNORECASE | re.DOTALL):
            _refuse_kind(what)
    if not head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        _refuse_binary(head)
    return "text"


def _refuse_kind(what: str) -> None:
    raise RegisterFileError(f"The file is {what}, not a table. Save the register as CSV (UTF-8) or .xlsx.")


def _refuse_binary(head: bytes) -> None:
    """A stray control character is shown with its row later; a head full of them is no text at all."""
    if head.count(0) > len(head) // 3:
        raise RegisterFileError("The text is UTF-16 without a mark, or binary. Save it as CSV (UTF-8).")
    if len(_CONTROLS.findall(head)) > max(4, len(head) // 20):
        _refuse_kind("binary data")


def _decoded(file: BinaryIO, encoding: str, errors: str = "strict") -> Iterator[str]:
    """The text in pieces, never the whole of it."""
    decoder = codecs.getincrementaldecoder(encoding)(errors)
    file.seek(0)
    while chunk := file.read(_CHUNK):
        yield decoder.decode(chunk)
    yield decoder.decode(b"", True)


def encoding_of(file: BinaryIO) -> str:
    """The name of the codec that reads the whole file: by its mark, else UTF-8, else Windows-1252 (Latin-1)."""
    file.seek(0)
    head = file.read(4)
    for bom, marked in _BOMS:
        if head.startswith(bom):
            check_encoding(file, marked)
            return marked
    try:
        for _ in _decoded(file, "utf-8"):
            pass
    except UnicodeDecodeError:
        _refuse_broken_utf8(file)
        check_encoding(file, "cp1252")
        return "cp1252"
    return "utf-8"


def check_encoding(file: BinaryIO, encoding: str) -> None:
    """Refuse a file that the codec cannot read to its end, naming the row."""
    if encoding not in ENCODINGS:
        raise RegisterFileError(f"The encoding “{encoding}” is not taken. Choose one of {', '.join(ENCODINGS)}.")
    line, last = 1, ""
    try:
        for text in _decoded(file, encoding):
            line, last = line + _line_ends(text) - (last == "\r" and text[:1] == "\n"), text[-1:]
    except UnicodeError as error:
        # The codec gives up at the start of a piece: count on inside it.
        bad = getattr(error, "object", b"")[: getattr(error, "start", 0)]
        line += _line_ends(bad.decode(encoding, "ignore")) if isinstance(bad, bytes) else 0
        raise RegisterFileError(
            f"The text cannot be read as {encoding}. Save it as CSV (UTF-8), or choose its encoding.", row=line
        ) from None


def _line_ends(text: str) -> int:
    return text.count("\n") + text.count("\r") - text.count("\r\n")


def _refuse_broken_utf8(file: BinaryIO) -> None:
    """UTF-8 damaged in a few places must not be read as Windows-1252: every accent would come out wrong."""
    line, row, good, bad = 1, None, 0, 0
    for text in _decoded(file, "utf-8", "replace"):
        broken = text.count("\ufffd")
        if broken and row is None:
            row = line + _line_ends(text[: text.index("\ufffd")])
        bad += broken
        good += sum(not c.isascii() for c in text) - broken if not text.isascii() else 0
        line += _line_ends(text)
    if good > bad:
        raise RegisterFileError(
            "The text is UTF-8 but damaged here. Export it again, or save it as CSV (UTF-8).", row=row
        )


def delimiter_of(text: str, *, complete: bool) -> str:
    """The delimiter under which the records of a sample have one and the same number of fields, as many as can be.

    Parameters
    ----------
    text : str
        The start of the file.
    complete : bool
        Whether it is the whole file; if not, its last record may be cut and does not count.
    """
    best, best_score = ",", 0.0
    for delimiter in DELIMITERS:
        widths, broken = _widths(text, delimiter)
        if not complete and len(widths) > 1:
            widths.pop()
        if not widths or widths[0] < 2:
            continue
        agreeing = sum(width == widths[0] for width in widths) / len(widths)
        score = agreeing * (0.5 if broken else 1.0) + min(widths[0], 500) * 1e-4
        if score > best_score:
            best, best_score = delimiter, score
    return best


def _widths(text: str, delimiter: str) -> tuple[list[int], bool]:
    """Number of fields of each record that is not blank, and whether the reading broke off."""
    widths: list[int] = []
    try:
        for record in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
            if any(field.strip() for field in record):
                widths.append(len(record))
            if len(widths) >= 500:
                break
    except csv.Error:
        return widths, True
    return widths, False
