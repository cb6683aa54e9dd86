"""What is looked at in a workbook's zip package (ECMA-376) before any of its contents is believed."""

import contextlib
import posixpath
import re
import stat
import zipfile
import zlib
from collections import defaultdict
from collections.abc import Iterator
from typing import BinaryIO
from xml.etree.ElementTree import ParseError
from xml.parsers import expat
from xml.parsers.expat import ExpatError

from defusedxml import ElementTree
from defusedxml.common import DefusedXmlException

from survey.register.table import RegisterFileError

TOTAL_BYTES = 100_000_000
"""All parts unpacked. 27,637 records of 16 fields unpack to about 25 MB."""
PART_BYTES = 20_000_000
"""A part other than a sheet or the shared texts: these are held in memory whole."""
FILES = 200
RATIO = 100
SHEET_ROWS, SHEET_COLUMNS = 1_048_576, 16_384
"""Size of a sheet in the standard's programs."""

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_BIG_PART = re.compile(r"xl/(worksheets/[^/]+|sharedStrings)\.xml", re.IGNORECASE)
DAMAGED = "The workbook is damaged. Open it, save it again and choose the new file."
_AS_CSV = "Save the sheet as CSV (UTF-8) instead."

# openpyxl has no error of its own for parts that break the standard: it lets these through.
_UNREADABLE = (
    DefusedXmlException,
    ParseError,
    ExpatError,
    zipfile.BadZipFile,
    zlib.error,
    ArithmeticError,
    AssertionError,
    AttributeError,
    EOFError,
    LookupError,
    NotImplementedError,
    OSError,
    TypeError,
    ValueError,
)


@contextlib.contextmanager
def readable() -> Iterator[None]:
    """Whatever a broken or hostile workbook makes the reading libraries raise becomes one clear line."""
    try:
        yield
    except RegisterFileError:
        raise
    except _UNREADABLE as error:
        raise RegisterFileError(DAMAGED) from error


def check_package(file: BinaryIO) -> None:
    """Refuse a zip that is no workbook or that could harm when unpacked. Reads the directory and the XML prologues."""
    file.seek(0)
    with readable(), zipfile.ZipFile(file) as archive:
        parts = archive.infolist()
        _check_names(parts)
        _check_sizes(parts)
        if not {"[Content_Types].xml", "xl/workbook.xml"} <= set(archive.namelist()):
            raise RegisterFileError("The file is a zip archive, not a workbook. Choose the table inside it.")
        for part in parts:
            if part.filename.lower().endswith((".xml", ".rels", ".vml")):
                _check_prologue(archive, part)


def _check_names(parts: list[zipfile.ZipInfo]) -> None:
    if len(parts) > FILES:
        raise RegisterFileError(f"The workbook holds {len(parts)} parts; at most {FILES} are taken. {_AS_CSV}")
    if len({part.filename for part in parts}) < len(parts):
        raise RegisterFileError("The workbook holds two parts of one name, so it was tampered with. It is not read.")
    for part in parts:
        name = part.filename
        if name.startswith("/") or "\\" in name or ":" in name or ".." in name.split("/") or "\0" in name:
            raise RegisterFileError("The workbook holds a part that points outside of it. It is not read.")
        if stat.S_ISLNK(part.external_attr >> 16):
            raise RegisterFileError("The workbook holds a link instead of a part. It is not read.")
        if part.flag_bits & 0x1:
            raise RegisterFileError("The workbook has a password. Save it without one.")


def _check_sizes(parts: list[zipfile.ZipInfo]) -> None:
    unpacked, packed = sum(part.file_size for part in parts), sum(part.compress_size for part in parts)
    if unpacked > TOTAL_BYTES:
        raise RegisterFileError(f"The workbook unpacks to more than {TOTAL_BYTES // 1_000_000} MB. {_AS_CSV}")
    if unpacked > RATIO * max(packed, 1):
        raise RegisterFileError(f"The workbook unpacks to more than {RATIO} times its size. {_AS_CSV}")
    for part in parts:
        if part.file_size > PART_BYTES and not _BIG_PART.fullmatch(part.filename):
            if part.filename.lower().startswith("xl/media/"):
                continue  # pictures are never unpacked
            raise RegisterFileError(f"A part of the workbook is larger than {PART_BYTES // 1_000_000} MB. {_AS_CSV}")


def _check_prologue(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """A document type may define entities that grow without end; no workbook needs one. It stands before the root."""
    try:
        with archive.open(part) as stream:
            next(iter(ElementTree.iterparse(stream, ("start",), forbid_dtd=True)), None)
    except DefusedXmlException as error:
        raise RegisterFileError("The workbook holds an XML document type definition. It is not read.") from error


def sheet_parts(archive: zipfile.ZipFile) -> dict[str, str]:
    """Name of each sheet that is not hidden to the path of its part, in the order of the tabs."""
    links = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"), forbid_dtd=True)
    targets = {link.get("Id"): posixpath.join("/xl", link.get("Target", "")).lstrip("/") for link in links}
    book = ElementTree.fromstring(archive.read("xl/workbook.xml"), forbid_dtd=True)
    sheets = book.iterfind(f"{_MAIN}sheets/{_MAIN}sheet")
    shown = [sheet for sheet in sheets if sheet.get("state", "visible") == "visible"]
    return {sheet.get("name", ""): posixpath.normpath(targets.get(sheet.get(_LINK), "")) for sheet in shown}


class SheetFacts:
    """What one pass over a sheet's XML finds: where formulas are, and that its size is a sheet's.

    Attributes
    ----------
    computed : dict
        Row from 1 to the positions from 0 of its cells with a formula.
    """

    def __init__(self) -> None:
        self.computed: dict[int, set[int]] = defaultdict(set)
        self._row = self._column = self._cells = 0
        self._formula = self._stored = False

    def opened(self, tag: str, attributes: dict[str, str]) -> None:
        """Called by the XML parser at each start tag."""
        if tag == "c":
            self._start_cell(attributes.get("r", ""))
        elif tag == "f":
            self._formula = True
        elif tag in ("v", "is"):
            self._stored = True
        elif tag == "row":
            self._start_row(attributes.get("r", ""))

    def _start_cell(self, reference: str) -> None:
        self._formula = self._stored = False
        self._cells += 1
        letters = re.match(r"([A-Z]{1,3})\d", reference)
        self._column = _column_number(letters[1]) if letters else self._column + 1
        if max(self._column, self._cells) > SHEET_COLUMNS:
            raise RegisterFileError("The row has more cells than a sheet can have.", row=self._row)

    def _start_row(self, number: str) -> None:
        self._column = self._cells = 0
        following = int(number) if number.isascii() and number.isdigit() and len(number) < 9 else self._row + 1
        if following <= self._row or following > SHEET_ROWS:
            raise RegisterFileError("The rows of the sheet are out of order. Open it and save it again.", row=following)
        self._row = following

    def closed(self, tag: str) -> None:
        """Called by the XML parser at each end tag."""
        if tag != "c" or not self._formula:
            return
        if not self._stored:
            raise RegisterFileError(
                "The cell holds a formula without a stored result. Open the workbook in a spreadsheet program, "
                "save it there, or replace formulas by their values.",
                row=self._row,
                column=f"column {self._column}",
            )
        self.computed[self._row].add(self._column - 1)


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def sheet_facts(archive: zipfile.ZipFile, part: str) -> SheetFacts:
    """Go through a sheet once without building it. A refused sheet is refused here, before it takes memory."""
    facts = SheetFacts()
    local = _LocalNames()
    parser = expat.ParserCreate(namespace_separator="}")
    parser.StartElementHandler = lambda tag, attributes: facts.opened(local[tag], attributes)
    parser.EndElementHandler = lambda tag: facts.closed(local[tag])
    with archive.open(part) as stream:  # its prologue was checked: no document type, so no entities
        parser.ParseFile(stream)
    return facts


class _LocalNames(dict[str, str]):
    """Tag with namespace to local name, worked out once each; empty for tags that are not a sheet's."""

    def __missing__(self, tag: str) -> str:
        local = tag.rpartition("}")[2] if "spreadsheetml" in tag else ""
        if len(self) < 1000:
            self[tag] = local
        return local
