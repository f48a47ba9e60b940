"""Check every pin against a database of known weaknesses, if one can be reached.

Exit status 0: no pin has a known weakness, or no database was reachable, which is said; 1: some
have, each with the version that mends it; 2: the check itself failed.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
PINS = ("run.txt", "dev.txt", "peers.txt")
#: What the tool says when it reaches nobody.
_OFFLINE = (
    "connection", "resolve", "unreachable", "timed out", "max retries", "ssl", "proxy", "503",
    "502", "403", "404", "serviceerror",
)  # fmt: skip


def audit(pins: Path) -> tuple[list[dict[str, Any]] | None, str]:
    """Return what is known against the pins of a file, ``None`` without a database, and why."""
    done = subprocess.run(
        [sys.executable, "-m", "pip_audit", "--disable-pip", "--require-hashes", "--requirement",
         str(pins), "--format", "json", "--progress-spinner", "off", "--timeout", "15"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    try:
        return json.loads(done.stdout)["dependencies"], ""
    except (ValueError, KeyError, TypeError):
        return None, done.stderr.strip().split("\n")[-1]


def known(found: list[dict[str, Any]]) -> list[str]:
    """Return a line for each known weakness of a pin.

    >>> known([{"name": "a", "version": "1", "vulns": [{"id": "X-1", "fix_versions": ["2"]}]}])
    ['a 1: X-1, mended in 2']
    """
    return [
        f"{one['name']} {one['version']}: {hit['id']}, {_mended(hit['fix_versions'])}"
        for one in found
        for hit in one.get("vulns", [])
    ]


def _mended(versions: list[str]) -> str:
    return f"mended in {' or '.join(versions)}" if versions else "not mended"


def main() -> int:
    """Check all pins and say what is known."""
    status = 0
    for name in PINS:
        found, why = audit(ROOT / "requirements" / name)
        if found is None and any(word in why.lower() for word in _OFFLINE):
            print(f"{name}: NOT CHECKED, no database of weaknesses can be reached ({why[:200]})")
        elif found is None:
            print(f"{name}: the check failed: {why[:400]}")
            status = max(status, 2)
        else:
            lines = known(found)
            print(f"{name}: {len(found)} pins, {len(lines)} known weaknesses")
            print("".join(f"  {line}\n" for line in lines), end="")
            status = max(status, int(bool(lines)))
    return status


if __name__ == "__main__":
    sys.exit(main())
