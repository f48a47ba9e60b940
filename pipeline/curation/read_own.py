"""Read and check a shop's own sheets, just as it keeps them, for its own use.

Shops get local codes that no signer can have. With the contributor's key each sheet also carries
the code and the name that it was contributed under, so that its contributed copy is recognised.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets, shop_barometers
from pullbook.pipeline.curation.checked_tables import Columns
from pullbook.pipeline.files import text_file
from pullbook.pipeline.parallel.garbage_collection import uncollected
from pullbook.pipeline.privacy import anonymise, signatures
from pullbook.pipeline.reading import find_sheets
from pullbook.pipeline.settings import shop_settings
from pullbook.pipeline.storage import regular_files
from pullbook.pipeline.storage.plain_text import one_line
from pullbook.pipeline.values.sheet import SIGNATURE_FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from pullbook.pipeline.curation.checked_tables import CheckedTables
    from pullbook.pipeline.settings.shop_settings import Settings
    from pullbook.pipeline.values.sheet import RawSheet, Sheet

#: What the local code of a shop starts with; a signer's code has hexadecimal digits alone.
LOCAL = "own-"
_DIGITS = 16
_HEAD_LINES = 4


def local_code(shop: str) -> str:
    """Return the local code of a shop; it is for one's own use and gives the name away to a guess.

    >>> local_code("Tern Quay") == local_code("tern  quay")
    True
    """
    plain = signatures.keyed_digest(b"pullbook own shop", shop)
    return f"{LOCAL}{hashlib.sha256(plain).hexdigest()[:_DIGITS]}"


def is_private(builds: pd.DataFrame) -> bool:
    """Return whether a table of builds holds sheets in clear, and so is not to be passed on."""
    return bool(builds["shop"].astype("str").str.startswith(LOCAL).any())


def is_signed_folder(folder: Path) -> bool:
    """Return whether every sheet file of a folder carries a signature, and there is one."""
    files = sorted(folder.rglob("*.csv"))
    return bool(files) and all(_has_signature(file) for file in files)


def _has_signature(path: Path) -> bool:
    try:
        text = regular_files.read(path, text_file.SHEET_BYTES).decode("utf-8", "replace")
    except OSError:
        return False
    return f"{SIGNATURE_FIELDS[0]}:" in "\n".join(text.split("\n", _HEAD_LINES)[:_HEAD_LINES])


@dataclass(frozen=True, slots=True)
class OwnReader:
    """Reads own sheets: the work of one process.

    Attributes
    ----------
    roots
        The folders that the sheets are below; settings lie in them.
    settings
        The shop's settings; ``None`` takes those beside the sheets.
    key
        The contributor's key, if there is one.
    usual
        Usual station pressure, inHg, by the local code of the shop, once its sheets are read.
    """

    roots: tuple[Path, ...] = ()
    settings: Settings | None = None
    key: bytes | None = None
    usual: Mapping[str, float] = field(default_factory=dict)

    def __call__(self, sources: Sequence[Path]) -> Columns:
        """Read and check the sheets of some sources."""
        columns = Columns()
        with uncollected():
            for source in sources:
                settings = self.settings or shop_settings.beside(source, self.roots)
                for raw in find_sheets.source(source, settings):
                    raw.usual_barometer = self._usual_of(raw)
                    sheet = checked_sheets.check(raw, check_sheet.SHEET_RULES)
                    twin = self._prepare(sheet, raw.private_words)
                    columns.add(sheet, one_line(str(source)), 0, twin)
        return columns

    def knowing(self, checked: CheckedTables) -> tuple[OwnReader, frozenset[str]]:
        """Return a reader that knows the usual pressures of shops, and the sources that it helps.

        Parameters
        ----------
        checked
            All sheets as this reader read them.

        """
        sheets, findings = checked.sheets, checked.findings
        said = sheets.dropna(subset=["station"])
        usual = shop_barometers.usual(zip(said["shop"], said["station"], strict=True))
        unsettled = [
            shop_barometers.is_unsettled(code, name)
            for code, name in zip(findings["code"], findings["field"], strict=True)
        ]
        rows = sheets.loc[findings.loc[unsettled, "sheet"].unique()]
        helped = rows.loc[rows["shop"].isin(list(usual)), "source"]
        return replace(self, usual=usual), frozenset(helped)

    def _usual_of(self, raw: RawSheet) -> float | None:
        """Return the usual station pressure of the shop of a sheet, if it is known yet."""
        cell = raw.fields.get("shop")
        return self.usual.get(local_code(cell.text if cell else "")) if self.usual else None

    def _prepare(self, sheet: Sheet, words: tuple[str, ...]) -> str:
        """Give a sheet its local code; return shop and name that it was contributed under."""
        if sheet.signature:
            message = (
                "The sheet is signed, as contributed ones are, and lies among sheets of your own."
                " Keep contributed sheets in a folder of their own."
            )
            sheet.findings.append(Finding("signed-among-own", message))
        shop = str(sheet.values.get("shop") or "")
        sheet.values["shop"] = local_code(shop)
        if not shop or self.key is None:
            return ""
        of_file = "sheet_id" not in sheet.rows
        name, _ = anonymise.private_name(
            self.key, "sheet_id", sheet.sheet_id, shop, of_file=of_file, words=words
        )
        return f"{anonymise.code(self.key, shop)} {name}"
