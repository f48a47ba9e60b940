"""What the program is made of: every pinned package of a release, with version, hashes, licence.

Written as CycloneDX 1.5 JSON, an open standard, and as a page for people. Everything comes from
the pins and from what the installed packages say of themselves.
"""

from __future__ import annotations

import json
import re
import sys
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
_PIN = re.compile(r"^(?P<name>[A-Za-z0-9._-]+)(?:\[[^\]]*\])?==(?P<version>[^ ;\\]+)", re.MULTILINE)
_HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")
_LONGEST = 60


def pins(text: str) -> list[dict[str, Any]]:
    r"""Return name, version and hashes of every pin.

    >>> pins("a==1.0 \\\\\n    --hash=sha256:" + "0" * 64)[0]["version"]
    '1.0'
    """
    found = list(_PIN.finditer(text))
    ends = [*(one.start() for one in found[1:]), len(text)]
    return [
        {"name": one["name"], "version": one["version"],
         "hashes": sorted(_HASH.findall(text[one.end() : end]))}
        for one, end in zip(found, ends, strict=True)
    ]  # fmt: skip


def licence(name: str) -> str:
    """Return the licence that an installed package names; ``not installed here`` without it."""
    try:
        said = metadata(name)
    except PackageNotFoundError:
        return "not installed here"
    if expression := said.get("License-Expression"):
        return str(expression)
    classes = [
        line.rpartition(" :: ")[2]
        for line in said.get_all("Classifier") or []
        if line.startswith("License ::") and not line.endswith("OSI Approved")
    ]
    short = " ".join(str(said.get("License") or "").split())
    return ", ".join(classes) or (short if 0 < len(short) <= _LONGEST else "see the package")


def bill(version: str, text: str) -> dict[str, Any]:
    """Return the bill of materials of a release."""
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "metadata": {"component": {"type": "application", "name": "pullbook", "version": version}},
        "components": [
            {
                "type": "library",
                "name": one["name"],
                "version": one["version"],
                "purl": f"pkg:pypi/{one['name'].lower()}@{one['version']}",
                "hashes": [{"alg": "SHA-256", "content": digest} for digest in one["hashes"]],
                "licenses": [{"license": {"name": licence(one["name"])}}],
            }
            for one in pins(text)
        ],
    }


def page(text: str) -> str:
    """Return the page of licences."""
    rows = "\n".join(f"| {p['name']} | {p['version']} | {licence(p['name'])} |" for p in pins(text))
    return (
        "# Licences\n\nWhat pullbook runs on, as pinned in `requirements/run.txt`, and the licence"
        " that each package names. pullbook itself is under the Apache licence 2.0.\n\n"
        f"| Package | Version | Licence |\n|---|---|---|\n{rows}\n"
    )


def main() -> None:
    """Write the page, or with a version the bill of materials beside the wheel."""
    text = (ROOT / "requirements" / "run.txt").read_text(encoding="utf-8")
    if len(sys.argv) > 1:
        out = ROOT / "dist" / f"pullbook-{sys.argv[1]}.cdx.json"
        out.parent.mkdir(exist_ok=True)
        out.write_text(json.dumps(bill(sys.argv[1], text), indent=1) + "\n", encoding="utf-8")
    else:
        out = ROOT / "docs" / "reference" / "licences.md"
        out.write_text(page(text), encoding="utf-8")
    print(f"Written: {out.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
