"""How much of the code the tests go through: lines and branches, each with the least it must be.

``make cover`` runs the tests with pytest-cov and hands over the report that coverage.py wrote.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

LEAST = {"lines": 90.0, "branches": 80.0}
_COUNTS = {
    "lines": ("covered_lines", "num_statements"),
    "branches": ("covered_branches", "num_branches"),
}


def shares(totals: dict[str, Any]) -> dict[str, float]:
    """Return the share of lines and of branches that were gone through, per cent.

    Parameters
    ----------
    totals
        The section ``totals`` of coverage.py's report in JSON.

    """
    return {
        what: 100 * totals[covered] / totals[whole] for what, (covered, whole) in _COUNTS.items()
    }


def main() -> None:
    """Print both shares; exit with status 1 where one is too low."""
    report = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    found = shares(report["totals"])
    for what, share in found.items():
        print(f"{what:8} {share:5.1f} %, at least {LEAST[what]:.0f} %")
    if any(share < LEAST[what] for what, share in found.items()):
        sys.exit("too little of the code is tested")


if __name__ == "__main__":
    main()
