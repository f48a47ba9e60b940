"""Judging many sheets: the same in any number of processes, and only what is new is read."""

import os

import pandas as pd
import pytest
from valid_sheet import PULL, sheet_text

from pullbook.pipeline.curation import curate as curating
from pullbook.pipeline.curation import gather
from pullbook.pipeline.parallel.workers import Processes
from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.reading import find_sheets

KEY = b"a key for the tests alone"


@pytest.fixture
def shared(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    for i in range(30):
        rows = [PULL[0], *((r, f"{float(t) + i:.1f}", "") for r, t, _ in PULL[1:])]
        fields = {"sheet_id": f"s{i:02}", "shop": f"Shop {i % 7}", "notes": "n"}
        (folder / f"{i}.csv").write_text(sheet_text(fields, rows))
    contribute([folder], tmp_path / "shared", KEY)
    return tmp_path / "shared"


def same(one, other):
    for name in ("builds", "pulls", "findings"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name))


def test_several_processes_judge_as_one(shared, monkeypatch):
    monkeypatch.setattr(gather, "_LOT", 8)
    same(curating.curate([shared], Processes(2)), curating.curate([shared]))


@pytest.fixture
def counted(monkeypatch):
    """Return the list of sources that are read from here on."""
    seen = []
    source = find_sheets.source

    def counting(path, *args):
        seen.append(path.name)
        return source(path, *args)

    monkeypatch.setattr(find_sheets, "source", counting)
    return seen


def test_only_what_is_new_is_read(tmp_path, shared, counted):
    cache = tmp_path / "cache"
    first = curating.curate([shared], cache=cache)
    assert len(counted) == 30
    counted.clear()
    same(curating.curate([shared], cache=cache), first)
    assert counted == []
    files = sorted((shared / "accepted").iterdir())
    files[3].write_text(
        files[3].read_text().replace("compression_ratio: 9.4", "compression_ratio: 9.7")
    )
    files[4].unlink()
    changed = curating.curate([shared], cache=cache)
    assert counted == [files[3].name]
    same(changed, curating.curate([shared]))
    counted.clear()
    same(curating.curate([shared], cache=cache), changed)
    assert counted == []


def test_tables_are_read_again_when_one_of_them_changes(tmp_path, counted):
    folder = tmp_path / "t" / "accepted"
    folder.mkdir(parents=True)
    (folder / "builds.csv").write_text(
        "sheet_id,shop,bore,stroke,cylinders,correction\na,Tern Quay,3.9,3.6,6,SAE J1349\n"
    )
    rows = "\n".join(f"a,{r},{t}" for r, t, _ in PULL[1:])
    (folder / "pulls.csv").write_text(f"sheet_id,rpm,torque (N.m)\n{rows}\n")
    cache = tmp_path / "cache"

    def read():
        sources = find_sheets.find([folder]).sources
        return gather.gather(sources, curating.ALONE, gather.Cache.of(cache, [folder]))

    first = read()
    assert counted == ["accepted"]
    counted.clear()
    assert len(read().findings) == len(first.findings)
    assert counted == []
    (folder / "pulls.csv").write_text(f"sheet_id,rpm,torque (N.m)\n{rows}\na,5000,270\n")
    read()
    assert counted == ["accepted"]


def test_the_code_of_every_room_counts(tmp_path, monkeypatch):
    monkeypatch.setattr(gather.resources, "files", lambda package: tmp_path / package)
    for package in ("pullbook.schemas", "pullbook.pipeline"):
        (tmp_path / package / "room" / "inner").mkdir(parents=True)
    seen = {gather._digest_code()}
    module = tmp_path / "pullbook.pipeline" / "room" / "inner" / "rules.py"
    for text in ("a = 1", "a = 2"):
        module.write_text(text)
        seen.add(gather._digest_code())
    module.rename(module.parents[1] / "rules.py")
    seen.add(gather._digest_code())
    assert len(seen) == 4


def test_other_code_reads_everything_anew(tmp_path, shared, counted, monkeypatch):
    cache = tmp_path / "cache"
    curating.curate([shared], cache=cache)
    counted.clear()
    monkeypatch.setattr(gather, "_digest_code", lambda: "other rules")
    curating.curate([shared], cache=cache)
    assert len(counted) == 30


def test_a_spoiled_or_forbidden_cache_is_done_without(tmp_path, shared, counted):
    cache = tmp_path / "cache"
    first = curating.curate([shared], cache=cache)
    for path in cache.rglob("*.parquet"):
        path.write_bytes(b"spoiled")
    counted.clear()
    same(curating.curate([shared], cache=cache), first)
    assert len(counted) == 30
    (tmp_path / "file").write_text("no folder")
    same(curating.curate([shared], cache=tmp_path / "file"), first)


def test_refusals_of_a_contribution_are_told(tmp_path, shared):
    bad = tmp_path / "bad.csv"
    bad.write_text(sheet_text({"sheet_id": "bad", "bore": "99 in"}))
    contribute([bad], shared, KEY)
    found = curating.curate([shared])
    assert (len(found.builds), found.refused, found.refused_before) == (30, 0, 1)
    told = found.findings[found.findings["code"] == "unit-left-out"]
    assert told["sheet_id"].tolist() == ["bad"]
    assert os.sep in told["source"].iloc[0]
