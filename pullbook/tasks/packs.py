"""One signed archive of the one shop that contributed, to send."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError
from pullbook.words.figures import listed

if TYPE_CHECKING:
    from pathlib import Path


def pack(folder: Path, into: Path, shops: set[str], key: bytes, key_path: Path) -> int:
    """Write the archive of a contribution; return how many sheets it holds.

    Raises
    ------
    InputError
        Sheets of several shops, or of none, were contributed.

    """
    from pullbook.pipeline.privacy import key_file, own_sheets, signatures
    from pullbook.pipeline.privacy import pack as packing

    if len(shops) != 1:
        msg = (
            f"a pack holds the sheets of one shop, and these are of {len(shops)}"
            f"{f': {listed(sorted(shops))}' if shops else ''}. Contribute each shop's sheets by"
            " themselves"
        )
        raise InputError(msg)
    (shop,) = shops
    signer = signatures.signer(key, shop)
    count = own_sheets.next_count(signer, shop, key_file.Counts.beside(key_path))
    return packing.pack(folder, signer, count, into)
