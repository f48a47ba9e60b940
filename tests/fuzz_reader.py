"""Fuzzing of the reader: no traceback, no hang, nothing written. ``make fuzz``.

Inputs are valid sheets that hypothesis cuts, joins, repeats and spoils, and plain bytes; they come
as sheet files, build files, tables and workbooks.
"""

from __future__ import annotations

import argparse
import io
import json
import sys
import tempfile
import time
import zipfile
from collections import Counter
from contextlib import suppress
from pathlib import Path

import openpyxl
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from valid_sheet import FIELDS, PULL, sheet_text

from pullbook.pipeline.builds import build_files
from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.privacy import anonymise, contribute
from pullbook.pipeline.reading import parse_sheet
from pullbook.pipeline.settings import shop_settings

#: Seconds of this process alone, whatever else the machine does.
_SLOWEST = 5.0
_PIECES = [
    "---", "\n", ",", ";", "\t", "|", ":", "- ", "? ", "&a ", "*a", "!!python/none ", "[", "{",
    "'", '"', "#", "%", "\\", "\x00", "\ufeff", "\u2028", "1,5", "1.234,5", "1e999", "nan", "-0",
    "9^9^9", "\u0663", "²", "½", "°C", "N.m", "mm", "rpm", "torque", "power", "pull", "torque 2",
    "max", "no", "0o7", "9:30", "=1+1", "@x", "\x1b[31m", "..", "/etc/passwd", "bore", "sheet_id",
    "yes", "~", "a" * 300,
]  # fmt: skip
_BASE = sheet_text()


def _book() -> bytes:
    made = openpyxl.Workbook()
    builds, pulls = made.active, made.create_sheet("pulls")
    builds.title = "builds"
    builds.append(list(FIELDS))
    builds.append(list(FIELDS.values()))
    pulls.append(["sheet_id", *PULL[0]])
    for row in PULL[1:]:
        pulls.append([FIELDS["sheet_id"], *row])
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


with zipfile.ZipFile(io.BytesIO(_book())) as _archive:
    _PARTS = {name: _archive.read(name) for name in _archive.namelist()}

_EDITS = st.lists(
    st.tuples(
        st.floats(0, 1),
        st.integers(0, 40),
        st.one_of(st.sampled_from(_PIECES), st.text(max_size=8)),
    ),
    max_size=8,
)


def _edited(text: str, edits: list[tuple[float, int, str]]) -> str:
    for where, gone, new in edits:
        at = int(where * len(text))
        text = text[:at] + new + text[at + gone :]
    return text


def _zip(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


_TEXTS = st.builds(_edited, st.just(_BASE), _EDITS)
_ENCODED = st.builds(
    lambda text, encoding: text.encode(encoding, "ignore"),
    _TEXTS,
    st.sampled_from(["utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1", "cp1252"]),
)
_TABLE = "\n".join([",".join(FIELDS), ",".join(FIELDS.values()), ""])
_PULLS = "\n".join(
    ",".join(r) for r in (("sheet_id", *PULL[0]), *((FIELDS["sheet_id"], *r) for r in PULL[1:]))
)
_BOOKS = st.builds(
    lambda name, edits: _zip(
        {
            **_PARTS,
            name: _edited(_PARTS[name].decode("utf-8", "ignore"), edits).encode("utf-8", "ignore"),
        }
    ),
    st.sampled_from(sorted(_PARTS)),
    _EDITS,
)
INPUTS = st.one_of(
    st.tuples(st.just("a.csv"), _ENCODED),
    st.tuples(st.just("a.csv"), _ENCODED),
    st.tuples(st.just("a.csv"), st.binary(max_size=400)),
    st.tuples(st.just("a.yaml"), st.builds(lambda t: t.encode("utf-8", "ignore"), _TEXTS)),
    st.tuples(
        st.just("tables"),
        st.tuples(*(st.builds(_edited, st.just(t), _EDITS) for t in (_TABLE, _PULLS))),
    ),
    st.tuples(st.just("a.xlsx"), st.one_of(_BOOKS, st.binary(max_size=200))),
)


def one(folder: Path, kind: str, data: object) -> Counter:
    """Take one input the whole way of a contribution; return what became of its sheets."""
    inside = folder / "in"
    for old in inside.iterdir():
        old.unlink()
    if kind == "tables":
        for name, text in zip(("builds.csv", "pulls.csv"), data, strict=True):
            (inside / name).write_text(text, encoding="utf-8", errors="ignore")
    else:
        (inside / kind).write_bytes(data)
    if kind == "a.yaml":
        sheets = [
            check_sheet.judge(parse_sheet.typed(raw), check_sheet.BUILD_RULES)
            for raw in build_files.raw_builds(inside / kind)
        ]
        with suppress(shop_settings.SettingsError):
            shop_settings.load(inside / kind)
    else:
        plan = contribute.plan([inside], b"key")
        sheets = [entry.sheet for entry in plan.accepted] + [r.sheet for r in plan.refused]
        for entry in plan.accepted:
            assert entry.sheet.values["shop"] == anonymise.code(b"key", entry.shop)
            assert "/" not in entry.name
    json.dumps([f.as_json() for sheet in sheets for f in sheet.findings])
    return Counter(sheet.accepted for sheet in sheets)


def run(inputs: int) -> dict[str, float]:
    """Try so many inputs; return how many, what became of their sheets, and the slowest."""
    met: Counter = Counter()
    slowest = 0.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "in").mkdir()

        @settings(
            max_examples=inputs,
            deadline=None,
            database=None,
            derandomize=True,
            phases=[Phase.generate, Phase.shrink],
            suppress_health_check=list(HealthCheck),
        )
        @given(INPUTS)
        def each(case):
            nonlocal slowest
            start = time.process_time()
            found = one(folder, *case)
            slowest = max(slowest, time.process_time() - start)
            met.update({"inputs": 1, "accepted": found[True], "refused": found[False]})
            assert slowest < _SLOWEST
            assert [p.name for p in folder.iterdir()] == ["in"], "something was written outside"

        each()
    return {**met, "slowest": slowest}


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--inputs", type=int, default=100_000)
    sys.stdout.write(f"{run(parser.parse_args().inputs)}\n")
