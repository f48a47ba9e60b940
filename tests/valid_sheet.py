"""A valid sheet for tests to break one thing of; every name and number is invented."""

from __future__ import annotations

FIELDS = {
    "sheet_id": "tern-0417",
    "shop": "Tern Quay Marine",
    "family": "petrel-six",
    "cylinders": "6",
    "bore": "3.9 in",
    "stroke": "92.1 mm",
    "compression_ratio": "9.4",
    "intake_duration": "214",
    "exhaust_duration": "222",
    "lobe_separation": "112",
    "intake_type": "dual plane",
    "correction": "observed",
    "air_temperature": "24 degC",
    "barometer": "29.72",
    "relative_humidity": "48",
}
PULL = [
    ("rpm", "torque (N.m)", "power (kW)"),
    ("2000", "345.2", "72.3"),
    ("2500", "356.0", "93.2"),
    ("3000", "361.4", "113.5"),
    ("3500", "352.7", "129.3"),
    ("4000", "331.0", "138.6"),
    ("4500", "301.3", "142.0"),
]


def sheet_text(
    fields: dict[str, str] | None = None, pull: list[tuple[str, ...]] | None = None
) -> str:
    """Return a sheet file; ``fields`` change the valid one, and ``""`` takes a field out."""
    given = {**FIELDS, **(fields or {})}
    lines = [f"{name}: {text}" for name, text in given.items() if text != ""]
    rows = [",".join(row) for row in (PULL if pull is None else pull)]
    return "\n".join(["---", *lines, "---", *rows, ""])
