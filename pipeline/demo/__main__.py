"""Write invented sheets: ``python -m pullbook.pipeline.demo FOLDER``."""

from __future__ import annotations

import argparse
from dataclasses import fields
from pathlib import Path

from pullbook.pipeline.demo import sheets, shops


def main() -> None:
    """Write the sheets of an invented circle, or of several and of lone shops, below a folder."""
    parser = argparse.ArgumentParser(
        prog="python -m pullbook.pipeline.demo", description=main.__doc__
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sheets", type=int, default=shops.SHEETS, help="of each circle")
    parser.add_argument("--shops", type=int, default=shops.SHOPS, help="of each circle")
    parser.add_argument("--seed", type=int, default=shops.SEED)
    parser.add_argument("--newer", type=Path, help="where to write the newest batch")
    parser.add_argument(
        "--circles", type=int, default=0, help="so many circles, each with families of its own"
    )
    parser.add_argument("--lone", type=int, default=0, help="so many shops that are in no circle")
    for share in fields(shops.Mix):
        parser.add_argument(f"--{share.name.replace('_', '-')}", type=float, default=share.default)
    given = parser.parse_args()
    mix = shops.Mix(*(getattr(given, share.name) for share in fields(shops.Mix)))
    several = {
        "circle": shops.circles(given.circles, given.seed, given.shops, given.sheets, mix),
        "lone": shops.lone_shops(given.lone, given.seed, mix),
    }
    for name, found in several.items():
        for number, circle in enumerate(found, start=1):
            sheets.make(given.folder / f"{name}-{number}", circle)
    if not given.circles and not given.lone:
        circle = shops.Circle(given.shops, given.sheets, given.seed, mix=mix)
        sheets.make(given.folder, circle, given.newer)


if __name__ == "__main__":
    main()
