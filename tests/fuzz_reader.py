"""Fuzzing of the reader: no traceback, no hang, little memory, nothing written. ``make fuzz``.

Inputs are valid sheets that hypothesis cuts, joins, repeats and spoils, and plain bytes; they come
as sheet files, build files, tables, files of settings and workbooks of every kind. A thousand are
tried in one process, whose time and memory are limited; another process watches it.
"""

from __future__ import annotations

import argparse
import io
import json
import random
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections import Counter
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import one_thread  # noqa: F401 - before what would start threads
import openpyxl
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from peak_memory import peak
from valid_sheet import FIELDS, PULL, sheet_text

from pullbook.pipeline.builds import build_files
from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.privacy import anonymise, contribute
from pullbook.pipeline.reading import parse_sheet
from pullbook.pipeline.settings import shop_settings

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Seconds of the processor for one input, whatever else the machine does; and most memory beyond
#: what the process had before the first, MB.
SECONDS, MEGABYTES = 5.0, 300
#: Inputs of one process, how many of them are workbooks of older kinds, and how long it may take.
_IN_ONE, _OLDER, _PATIENCE = 1000, 4, 1800
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

_REPEATED = st.builds(
    lambda piece, width: piece * (width // len(piece)),
    st.sampled_from(_PIECES),
    st.sampled_from([300, 3000, 30_000, 300_000]),
)
_PIECE = st.sampled_from(_PIECES)
_EDITS = st.lists(
    st.tuples(
        st.floats(0, 1),
        st.integers(0, 40),
        st.one_of(_PIECE, _PIECE, st.text(max_size=8), st.text(max_size=8), _REPEATED),
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
_SETTINGS = """shop: Tern Quay Marine
correction: observed
units: {torque: N.m, power: kW}
headings: {mist: torque}
ignore: [notes of the day]
sheets: {tern-0417: {cylinders: 6}}
"""
_KIND = b"application/vnd.oasis.opendocument.spreadsheet"
_NAMES = "urn:oasis:names:tc:opendocument:xmlns"
_OPEN = (
    f'<office:document-content xmlns:office="{_NAMES}:office:1.0" xmlns:table="{_NAMES}:table:1.0"'
    f' xmlns:text="{_NAMES}:text:1.0"><office:body><office:spreadsheet><table:table'
    ' table:name="pulls">{}</table:table></office:spreadsheet></office:body>'
    "</office:document-content>"
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
    st.tuples(
        st.just("settings"),
        st.tuples(_TEXTS, st.builds(_edited, st.just(_SETTINGS), _EDITS)),
    ),
    st.tuples(st.just("a.xlsx"), st.one_of(_BOOKS, st.binary(max_size=200))),
)
#: What is made of several files: their names.
_FILES = {"tables": ("builds.csv", "pulls.csv"), "settings": ("a.csv", "pullbook.yaml")}


def older(rng: random.Random) -> tuple[str, bytes]:
    """Return a workbook of an older or open kind, spoiled."""
    cells = "".join(
        f'<table:table-cell office:value-type="string"><text:p>{text}</text:p></table:table-cell>'
        for text in PULL[0]
    )
    content = _OPEN.format(f"<table:table-row>{cells}</table:table-row>" * 3)
    for _ in range(rng.randrange(4)):
        at = rng.randrange(len(content))
        content = content[:at] + rng.choice(_PIECES) + content[at + rng.randrange(30) :]
    name = rng.choice(["a.ods", "a.ods", "a.xls"])
    data = bytearray(_zip({"mimetype": _KIND, "content.xml": content.encode("utf-8", "ignore")}))
    if name == "a.xls":
        data = bytearray(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + rng.randbytes(3000))
    for _ in range(rng.randrange(3)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return name, bytes(data)


def one(folder: Path, kind: str, data: object) -> Counter:
    """Take one input the whole way of a contribution; return what became of its sheets."""
    inside = folder / "in"
    for old in inside.iterdir():
        old.unlink()
    if kind in _FILES:
        for name, text in zip(_FILES[kind], data, strict=True):
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
        try:
            plan = contribute.plan([inside], b"key")
        except shop_settings.SettingsError as fault:
            assert kind == "settings" and str(fault).strip(), fault
            return Counter({"settings refused": 1})
        sheets = [entry.sheet for entry in plan.accepted] + [r.sheet for r in plan.refused]
        for entry in plan.accepted:
            assert entry.sheet.values["shop"] == anonymise.code(b"key", entry.shop)
            assert "/" not in entry.name
    json.dumps([f.as_json() for sheet in sheets for f in sheet.findings])
    return Counter(sheet.accepted for sheet in sheets)


class TooSlowError(Exception):
    """An input took more of the processor than it may."""


@contextmanager
def deadline() -> Iterator[None]:
    """Stop what takes more of the processor than an input may, wherever it is."""

    def stop(*_: object) -> None:
        msg = f"more than {SECONDS} s"
        raise TooSlowError(msg)

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def run(inputs: int, number: int = 0) -> dict[str, float]:
    """Try so many inputs of a numbered set; return what became of their sheets, and the costs."""
    met: Counter = Counter()
    costs = {"slowest": 0.0, "memory": 0.0}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "in").mkdir()
        one(folder, "a.csv", _BASE.encode())
        one(folder, "a.xlsx", _book())

        def each(case):
            before, start = peak(anew=True), time.process_time()
            with deadline():
                found = one(folder, *case)
            costs["slowest"] = max(costs["slowest"], time.process_time() - start)
            met.update({"inputs": 1, "accepted": found.pop(True, 0),
                        "refused": found.pop(False, 0), **found})  # fmt: skip
            more = peak() - before
            costs["memory"] = max(costs["memory"], more)
            assert more < MEGABYTES, f"{more:.0f} MB"
            assert [p.name for p in folder.iterdir()] == ["in"], "something was written outside"

        rng = random.Random(number)  # noqa: S311 - not for secrets
        for _ in range(min(_OLDER, inputs // 200)):
            each(older(rng))
        searched = settings(
            max_examples=inputs - met["inputs"],
            deadline=None,
            database=None,
            phases=[Phase.generate, Phase.shrink],
            suppress_health_check=list(HealthCheck),
        )
        searched(seed(number)(given(INPUTS)(each)))()
    return {**met, **costs}


def run_apart(inputs: int, first: int) -> tuple[dict[str, float], list[str]]:
    """Try inputs, a set of a thousand in a process; return sums, costs and what went wrong."""
    total: dict[str, float] = {}
    faults = []
    for number in range(first, first + -(-inputs // _IN_ONE)):
        words = ["--set", str(number), "--inputs", str(min(inputs, _IN_ONE))]
        try:
            done = subprocess.run(
                [sys.executable, __file__, *words],
                capture_output=True,
                text=True,
                timeout=_PATIENCE,
                check=False,
            )
        except subprocess.TimeoutExpired:
            faults.append(f"set {number}: not done within {_PATIENCE} s")
            continue
        if done.returncode:
            faults.append(f"set {number}: {done.returncode}\n{done.stderr[-3000:]}")
            continue
        found: dict[str, Any] = json.loads(done.stdout)
        for name, value in found.items():
            most = name in {"slowest", "memory"}
            total[name] = max(total.get(name, 0), value) if most else total.get(name, 0) + value
    return total, faults


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first set")
    parser.add_argument("--set", type=int, help="try only this set, here")
    chosen = parser.parse_args()
    if chosen.set is not None:
        print(json.dumps(run(chosen.inputs, chosen.set)))
        sys.exit()
    sums, wrong = run_apart(chosen.inputs, chosen.first)
    print(sums, *wrong, sep="\n")
    sys.exit(bool(wrong))
