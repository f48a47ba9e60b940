"""Write the demo's sheets: ``python -m pullbook.pipeline.demo FOLDER``."""

from __future__ import annotations

import argparse
from pathlib import Path

from pullbook.pipeline.demo import sheets


def main() -> None:
    """Write the sheets of the invented circle below the folder that is named."""
    parser = argparse.ArgumentParser(
        prog="python -m pullbook.pipeline.demo", description=main.__doc__
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sheets", type=int, default=sheets.SHEETS)
    parser.add_argument("--shops", type=int, default=sheets.SHOPS)
    parser.add_argument("--seed", type=int, default=sheets.SEED)
    parser.add_argument("--newer", type=Path, help="where to write the newest batch")
    given = parser.parse_args()
    sheets.make(
        given.folder, sheets=given.sheets, shops=given.shops, seed=given.seed, newer=given.newer
    )


if __name__ == "__main__":
    main()
