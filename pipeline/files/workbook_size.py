"""How much is in a workbook of today's kind, counted as it streams by, before it is read."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING
from xml.parsers import expat

from pullbook.pipeline.files.text_file import UnreadableError

if TYPE_CHECKING:
    import zipfile

#: Most tabs, cells and shared texts of a workbook, and most bytes: packed, unpacked, shared texts.
TABS, CELLS, TEXTS, MERGED = 256, 400_000, 400_000, 20_000
#: Most rows of a tab, and most elements of all kinds.
ROWS, ELEMENTS = 150_000, 3_000_000
#: Most bytes of a part that is read as a whole: anything but a tab, shared texts or a picture.
_WHOLE_BYTES, _STREAMED = 4_000_000, ("xl/worksheets/", "xl/media/")
PACKED_BYTES, UNPACKED_BYTES, PARTS = 32_000_000, 96_000_000, 4000
#: A row may be so far below all others.
_GAP = 10_000
_COLUMN = re.compile(r"([A-Z]{1,3})[0-9]{1,7}")


def check_parts(archive: zipfile.ZipFile, name: str) -> None:
    """Check how much an archive holds, by what it says; no more of it is ever unpacked.

    Raises
    ------
    UnreadableError
        It is too much.

    """
    parts = archive.infolist()
    size = sum(part.file_size for part in parts)
    whole = [
        part.file_size
        for part in parts
        if not part.filename.startswith(_STREAMED) and "sharedstrings" not in part.filename.lower()
    ]
    if name.casefold().endswith(".xlsx") and max(whole, default=0) > _WHOLE_BYTES:
        msg = (
            f"{name} has a part of {max(whole) / 1e6:.0f} MB beside its tabs; the limit is"
            f" {_WHOLE_BYTES / 1e6:.0f} MB. Save its values in a new workbook."
        )
        raise UnreadableError(msg, "too-large")
    if len(parts) > PARTS or size > UNPACKED_BYTES:
        msg = (
            f"{name} unpacks to {size / 1e6:.0f} MB in {len(parts)} parts; the limit is"
            f" {UNPACKED_BYTES / 1e6:.0f} MB in {PARTS} parts. Split it into several workbooks."
        )
        raise UnreadableError(msg, "too-large")


class Counter:
    """Counts elements of the XML in a workbook; what is too much stops it at once."""

    def __init__(self) -> None:
        self._cells = self._texts = self._merged = self._elements = 0
        self._rows = self._far = self._row = self._column = 0
        self.last_column = 0

    def count(self, part: bytes) -> None:
        """Count what one part holds.

        Raises
        ------
        UnreadableError
            It is too much, or the part defines entities, or is no XML.

        """
        self._rows = self._far = self._row = self._column = self.last_column = 0
        parser = expat.ParserCreate()
        parser.StartElementHandler = self._start
        parser.StartDoctypeDeclHandler = self._refuse
        parser.EntityDeclHandler = self._refuse
        try:
            parser.ParseFile(io.BytesIO(part))
        except expat.ExpatError as error:
            msg = f"A tab cannot be read as XML ({error}). Save the workbook again."
            raise UnreadableError(msg) from error
        if self._far > 3 * self._rows + _GAP:
            msg = f"There is a row {self._far} far below all others. Delete it and save again."
            raise UnreadableError(msg, "too-large")

    @staticmethod
    def _refuse(*_: object) -> None:
        msg = "The workbook defines entities, which no spreadsheet does. Save it again."
        raise UnreadableError(msg)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._elements += 1
        if self._elements > ELEMENTS or self._rows > ROWS:
            msg = f"The workbook has more than {ROWS} rows, or marks without cells. Split it."
            raise UnreadableError(msg, "too-large")
        match name.rpartition(":")[2]:
            case "c":
                self._cells += 1
                self._column += 1
                if (found := _COLUMN.fullmatch(attributes.get("r", ""))) is not None:
                    self._column = _number(found[1])
                self.last_column = max(self.last_column, self._column)
                if self._cells > CELLS:
                    msg = f"The workbook has more than {CELLS} cells. Split it."
                    raise UnreadableError(msg, "too-large")
            case "row":
                self._rows += 1
                self._column = 0
                self._row = _row_number(attributes.get("r", ""), self._row + 1)
                self._far = max(self._far, self._row)
            case "mergeCell":
                self._merged += 1
                if self._merged > MERGED:
                    msg = f"The workbook has more than {MERGED} merged cells. Split it."
                    raise UnreadableError(msg, "too-large")
            case "si":
                self._texts += 1
                if self._texts > TEXTS:
                    msg = f"The workbook has more than {TEXTS} texts. Split it."
                    raise UnreadableError(msg, "too-large")


def _row_number(given: str, following: int) -> int:
    """Return the number of a row as the library that reads the rows takes it, whatever its size.

    >>> _row_number("7", 2), _row_number("2e9", 2), _row_number("", 2)
    (7, 2000000000, 2)
    """
    for kind in (int, float):
        try:
            return int(kind(given))
        except (ValueError, OverflowError):
            continue
    return following


def _number(letters: str) -> int:
    """Return the number of a column.

    >>> _number("A"), _number("AB")
    (1, 28)
    """
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number
