"""A shop's own sheets: under the names they were contributed with, and from before signatures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.privacy import anonymise, contribute, signatures
from pullbook.pipeline.privacy.refused_sheets import ACCEPTED
from pullbook.pipeline.reading import find_sheets, sheet_file
from pullbook.pipeline.values.sheet import Cell
from pullbook.schemas.errors import InputError
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.pipeline.privacy.contribute import Outcome
    from pullbook.pipeline.privacy.key_file import Counts
    from pullbook.pipeline.privacy.signatures import Signer


def shop_of(name: str | None, counts: Counts) -> str:
    """Return the shop that a key speaks for: the one that is named, or the only one it has.

    Raises
    ------
    InputError
        The key serves several shops, or none so far, and none is named.

    """
    if name is not None:
        return name
    known = [str(one["name"]) for one in counts.read().values()]
    if len(known) == 1:
        return known[0]
    which = f"the key serves several shops ({', '.join(known)})" if known else (
        "no sheet was contributed with this key so far")  # fmt: skip
    msg = f"{which}: name the shop with --shop"
    raise InputError(msg)


def next_count(signer: Signer, name: str, counts: Counts) -> int:
    """Return the next count of a shop that has signed sheets, and record it.

    Raises
    ------
    InputError
        Nothing that the shop signed is on record: what is signed now could count as earlier than
        its sheets.

    """
    known = counts.read()
    if signer.code not in known:
        others = ", ".join(sorted(str(one["name"]) for one in known.values()))
        msg = (
            f"nothing that {name} signed with this key is on record in {counts.path}"
            f"{f', only sheets of {others}' if others else ''}. If the name is right, the record"
            " was lost, and what you sign now could count as earlier than your sheets: restore it"
            " with pullbook restore-key, or contribute your sheets once more to the folder that"
            " holds them, then try again"
        )
        raise InputError(msg)
    (count,) = counts.take(signer.code, name, 1)
    return count


def contributed_names(
    sheets: Sequence[str], shop: str | None, key: bytes, counts: Counts
) -> list[str]:
    """Return the names that sheets were contributed under.

    Parameters
    ----------
    sheets
        IDs of sheets as the shop calls them, or files: the shop's own, or contributed ones.
    shop
        The shop's name; needed for IDs if the key serves several.
    key, counts
        The contributor's key, and what its shops have signed.

    Raises
    ------
    InputError
        A file holds no sheet of this key's shops, or the shop is not clear.

    """
    found: list[str] = []
    for sheet in sheets:
        path = Path(sheet)
        if path.exists():
            found += _of_file(path, key, counts)
            continue
        name = shop_of(shop, counts)
        for of_file in (False, True):
            private, _ = anonymise.private_name(key, "sheet_id", sheet, name, of_file=of_file)
            found.append(private)
    return list(dict.fromkeys(found))


def _of_file(path: Path, key: bytes, counts: Counts) -> list[str]:
    if path.is_file() and path.suffix.casefold() == ".csv":
        raw = sheet_file.read_first(path)
        signature = signatures.of_fields(raw.signature)
        if signature is not None:
            if signature.code not in counts.read():
                msg = f"{path} was not signed with this key, so it cannot be withdrawn with it"
                raise InputError(msg)
            return [raw.sheet_id]
    entries = contribute.plan([path], key).accepted
    if not entries:
        msg = f"{path} holds no sheet that can be contributed, so there is none to withdraw"
        raise InputError(msg)
    return [entry.sheet.sheet_id for entry in entries]


def bring_over(
    folder: Path, into: Path, key: bytes, shops: Sequence[str], counts: Counts
) -> Outcome:
    """Sign sheets that were contributed before there were signatures.

    Parameters
    ----------
    folder
        The earlier contribution; it stays as it is.
    into
        The folder to write to.
    key, counts
        The key they were contributed with, and what its shops have signed.
    shops
        Names of the shops; a sheet of another shop is left out.

    Raises
    ------
    NothingToReadError
        The folder has no sheets.

    """
    names = {signatures.keyed_digest(key, shop).hex()[: signatures.CODE_CHARS]: shop
             for shop in shops}  # fmt: skip
    accepted = folder / ACCEPTED
    found = find_sheets.find([accepted if accepted.is_dir() else folder], into)
    raws = [raw for source in found.sources for raw in find_sheets.source(source)]
    for raw in raws:
        cell = raw.fields.get("shop")
        name = names.get(cell.text.strip()) if cell is not None else None
        if cell is not None and name is not None:
            raw.fields["shop"] = Cell(name, cell.row)
        else:
            message = (
                "The sheet does not carry the earlier code of a shop that is named, under this key."
            )
            raw.findings.append(Finding("not-the-signers-code", message, "shop"))
    sheets = [checked_sheets.check(raw, check_sheet.CONTRIBUTION_RULES) for raw in raws]
    read = checked_sheets.CheckedSheets(raws, sheets, found.passed_over)
    return contribute.carry_out(contribute.plan_of(read, key, into), into, key, counts)
