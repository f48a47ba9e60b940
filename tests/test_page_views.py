"""What the page shows and saves: the numbers and files of the command line, come what may."""

import errno
import html
import json
import multiprocessing
import os
import re
import shutil
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import urlencode

import numpy as np
import pytest
from command_line import run
from page_server import client, opened
from starlette.requests import Request
from valid_sheet import FIELDS, PULL, sheet_text

from pullbook.model.training import bundle
from pullbook.page.app import app
from pullbook.page.state_file import Address
from pullbook.pipeline.builds import build_files
from pullbook.pipeline.settings import shop_settings
from pullbook.schemas.errors import InputError
from pullbook.tasks import process_beside, reading, retrain
from pullbook.view_parts import parameters
from pullbook.view_parts.rendering import Desk
from pullbook.views import ask, choose_list, engines, share
from pullbook.words import figures
from pullbook.words.units import Units
from pullbook.workspace import build_fields, file_marks, list_filter, saved_builds, typed_sheet
from pullbook.workspace import folder as folders
from pullbook.workspace import sharing as sharing_module
from pullbook.workspace.folder import Folder
from pullbook.workspace.measured_tests import MeasuredTests
from pullbook.workspace.model_in_use import ModelInUse, NoModelError
from pullbook.workspace.retraining import Retraining, RetrainingError
from pullbook.workspace.sharing import Sharing

BUILD = {"sheet_id": "launch", "cylinders": "6", "bore": "3.9", "stroke": "3.75",
         "intake_duration": "214"}  # fmt: skip


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    folder = tmp_path_factory.mktemp("views")
    (folder / "a.csv").write_text(sheet_text({"sheet_id": "a", "engine": "port", "shop": "Tern"}))
    again = {"sheet_id": "b", "engine": "port", "shop": "Tern", "intake_duration": "222"}
    pull = [PULL[0], *((rpm, f"{float(t) * 1.02:.1f}", f"{float(p) * 1.02:.1f}")
                       for rpm, t, p in PULL[1:])]  # fmt: skip
    (folder / "b.csv").write_text(sheet_text(again, pull))
    (folder / "wrong.csv").write_text(sheet_text({"sheet_id": "wrong", "bore": "99 in"}))
    return folder


@pytest.fixture(scope="module")
def address(shop, tmp_path_factory):
    with opened(tmp_path_factory.mktemp("state"), shop) as found:
        yield found


@pytest.fixture
def ours(address):
    with client(address) as found:
        yield found


def rows(page):
    """Return the cells of every row of a page's tables."""
    found = re.findall(r"<tr[^>]*>(.*?)</tr>", page, re.DOTALL)
    return [re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", row) for row in found]


def test_an_answer_has_the_numbers_of_the_command_line(ours, tmp_path):
    page = ours.get("/ask", params={**BUILD, "level": "0.8"}).text
    (tmp_path / "launch.yaml").write_text("".join(f"{k}: {v}\n" for k, v in BUILD.items()))
    done = run("predict", tmp_path / "launch.yaml", "--level", "0.8", "--json")
    curve = json.loads(done.stdout)["curve"]
    shown = {row[0]: row[1:] for row in rows(page)}
    known = [point for point in curve if point["supported"] and f"{point['rpm']:.0f}" in shown]
    assert len(known) > 10
    for point in known:
        torque, limits, power, _ = shown[f"{point['rpm']:.0f}"]
        assert torque == f"{point['torque']:.0f}"
        assert limits == f"{point['torque_low']:.0f} to {point['torque_high']:.0f}"
        assert power == f"{point['power']:.0f}"


def test_a_comparison_has_the_numbers_of_the_command_line(ours, shop):
    page = ours.get("/compare", params={"a": "a", "b": "b", "band_low": "2500"}).text
    done = run("compare", shop / "a.csv", shop / "b.csv", "--band", "2500:4500", "--json")
    found = json.loads(done.stdout)
    assert found["compared_as"] == {"a": "measured", "b": "measured"}
    shown = {row[0]: row[1:] for row in rows(page)}
    for point in found["curve"]:
        if point["supported"]:
            assert float(shown[f"{point['rpm']:.0f}"][0]) == pytest.approx(
                point["difference"], abs=0.51
            )
    assert "Compared as measured" in page


SEARCH = {"build": "launch", "build_is": urlencode(BUILD), "free": "camshaft",
          "goal": "mean_torque", "band_low": "2000", "band_high": "4500"}  # fmt: skip


def test_a_search_has_the_numbers_of_the_command_line(ours, tmp_path):
    page = ours.get("/choose", params=SEARCH).text
    (tmp_path / "launch.yaml").write_text("".join(f"{k}: {v}\n" for k, v in BUILD.items()))
    done = run("choose", tmp_path / "launch.yaml", "--free", "camshaft", "--goal", "2000:4500",
               "--json")  # fmt: skip
    found = json.loads(done.stdout)
    shown = {row[0]: row[1] for row in rows(page) if len(row) == 6}
    assert shown["best"] == f"{found['best']['goal']['value']:.0f}"
    assert shown["as it is"] == f"{found['build']['goal']['value']:.0f}"
    link = html.unescape(re.search(r'href="(/ask\?[^"]*best\+found[^"]*)"', page)[1])
    again = ours.get(link).text
    assert f'name="intake_duration" value="{found["best"]["values"]["intake_duration"]:g}"' in again
    assert 'value="launch, best found"' in again


def test_a_search_around_a_measured_engine_starts_from_its_pull(ours):
    given = {"build": "a", "field": "compression_ratio", "low": "9", "high": "10.5"}
    page = ours.get("/choose", params=given).text
    assert "compression ratio: best at" in page
    link = html.unescape(re.search(r'href="(/ask\?[^"]*best\+found[^"]*)"', page)[1])
    assert "Starts from the measured sheet a" in ours.get(link).text


def test_a_range_is_in_the_units_of_the_form(ours):
    inch = {**SEARCH, "free": "", "field": "stroke", "low": "3.5", "high": "3.9"}
    metric = {**inch, "low": "88.9", "high": "99.06", "units": "metric"}
    found = [re.search(r"Best: stroke ([\d.]+)", ours.get("/choose", params=one).text)[1]
             for one in (inch, metric)]  # fmt: skip
    assert float(found[1]) == pytest.approx(25.4 * float(found[0]), abs=0.2)
    turned = ours.get("/choose", params={**inch, "were": "inch", "units": "metric"}).text
    assert 'name="low" value="88.9"' in turned


@pytest.mark.parametrize(
    ("more", "said"),
    [({"build": "nobody"}, "There is no build and no test called nobody"), ({"build": ""},
     "Name the build or the test"), ({"free": ""}, "Tick at least one group"),
     ({"band_low": "abc"}, "Type the band in rpm"), ({"field": "stroke", "low": "4", "high": "3"},
     "type a range that rises"), ({"goal": "power", "band_low": "0"}, "Type the speed in rpm"),
     ({"free": ["camshaft", "heads", "intake"]}, "5 is the most")],
)  # fmt: skip
def test_what_cannot_be_searched_is_said_and_what_was_typed_stays(ours, more, said):
    given = {**SEARCH, "build_is": "" if more.get("build") == "nobody" else SEARCH["build_is"]}
    page = ours.get("/choose", params={**given, **more}).text
    assert said in page
    for name in ("band_low", "low"):
        if name in more:
            assert f'name="{name}" value="{more[name]}"' in page


def test_a_goal_at_one_speed_needs_no_other(ours):
    given = {**SEARCH, "goal": "power", "band_low": "4800", "band_high": "4500"}
    assert "highest power at 4800 rpm" in ours.get("/choose", params=given).text


def test_an_answer_starts_from_a_test_that_is_named(ours):
    page = ours.get("/ask", params={"start": "a"}).text
    assert "Starts from the measured sheet a" in page
    wrong = ours.get("/ask", params={**BUILD, "start": "nobody"}).text
    assert "There is no test called nobody" in wrong
    assert "Peak torque" not in wrong


def test_metric_is_metric_and_says_the_same(ours):
    inch = ours.get("/ask", params=BUILD).text
    metric = ours.get(
        "/ask", params={**BUILD, "bore": "99.06", "stroke": "95.25", "units": "metric"}
    ).text
    torque = {row[0]: row[1] for row in rows(inch) if len(row) == 5 and row[1].isdigit()}
    newton = {row[0]: row[1] for row in rows(metric) if len(row) == 5 and row[1].isdigit()}
    assert set(torque) == set(newton)
    for rpm, number in torque.items():
        assert int(newton[rpm]) == pytest.approx(1.3558 * int(number), abs=1.3)
    assert " lb-ft" not in re.sub(r"<option.*?</option>", "", metric)


def test_other_units_turn_what_was_typed_and_a_comparison_keeps_them(ours):
    page = ours.get("/ask", params={**BUILD, "stroke": "3.75 in", "were": "inch",
                                    "units": "metric"}).text  # fmt: skip
    assert 'name="bore" value="99.06"' in page or 'name="bore" value="99.1"' in page
    assert 'name="stroke" value="3.75 in"' in page
    link = html.unescape(re.search(r'href="(/compare\?[^"]*)"', page)[1])
    again = ours.get(f"{link}&b=a").text
    assert "A  launch" in again
    assert "N.m" in again
    assert "wrong" not in again


def test_an_answer_about_a_measured_engine_starts_from_its_pull(ours):
    code = re.search(r"/engines/([0-9a-f]{12})\">a<", ours.get("/engines").text)[1]
    page = ours.get("/ask", params={"start": code}).text
    assert "Starts from the measured sheet a" in page
    assert "1 other sheet of this engine" in page or "One other sheet" in page
    assert 'value="a, changed"' in page


def test_fragment_and_page_are_kept_apart(ours):
    whole = ours.get("/ask", params=BUILD)
    part = ours.get("/ask", params=BUILD, headers={"X-Pullbook-Fragment": "yes"})
    assert "<nav" in whole.text
    assert "<nav" not in part.text
    assert part.text.strip().startswith("<h2>launch</h2>")
    assert "X-Pullbook-Fragment" in whole.headers["vary"]
    assert "X-Pullbook-Fragment" in part.headers["vary"]


def test_no_folder_says_so_in_every_view(tmp_path):
    with opened(tmp_path) as bare, client(bare) as ours:
        for path in ("/ask", "/compare", "/choose", "/choose/list", "/engines", "/model",
                     "/share", "/engines/type"):  # fmt: skip
            page = ours.get(path).text
            assert "Invented engines." in page
        answer = ours.post("/ask/save", data=BUILD)
        assert answer.status_code == 422
        assert "pullbook open FOLDER" in answer.text


def test_a_file_that_changes_on_the_disk_is_seen_in_both_directions(ours, shop):
    assert "late-sheet" not in ours.get("/engines").text
    path = shop / "late.csv"
    path.write_text(sheet_text({"sheet_id": "late-sheet"}))
    assert "late-sheet" in ours.get("/engines").text
    path.unlink()
    assert "late-sheet" not in ours.get("/engines").text
    ours.post("/ask/save", data={**BUILD, "sheet_id": "kept"})
    assert run("predict", shop / "builds" / "kept.yaml").returncode == 0


def test_a_saved_build_starts_from_the_test_it_was_saved_with(ours, shop):
    first = ours.get("/ask", params={**BUILD, "sheet_id": "from a", "start": "a"}).text
    assert "Starts from the measured sheet a" in first
    ours.post("/ask/save", data={**BUILD, "sheet_id": "from a", "start": "a"})
    path = shop / "builds" / "from a.yaml"
    (build,) = build_files.read(path)
    assert build.values["measured"] == "a"
    done = run("predict", path, "--measured", shop / "a.csv")
    assert "Starts from the measured sheet a" in done.stdout
    by_file = "sheet_id: by file\nmeasured: ../a.csv\nintake_duration: 214\n"
    for text in (
        path.read_text(),
        by_file,
        "sheet_id: by hand\nmeasured: a\nintake_duration: 214\n",
    ):
        path.write_text(text)
        (build,) = build_files.read(path)
        page = ours.get("/ask", params={"from": build.sheet_id}).text
        assert "Starts from the measured sheet a" in page
        assert re.search(r'name="cylinders"[^>]*value="6"', page)
        again = dict(
            re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page.split("/ask/save")[1])
        )
        assert again["start"]
    path.unlink()


def test_a_settings_file_with_a_mistake_is_a_sentence_and_mended_it_is_read_again(ours, shop):
    settings = shop / "pullbook.yaml"
    settings.write_text("unitz: {torque: N.m}\n")
    page = ours.get("/engines").text
    assert "is no setting" in page
    settings.unlink()
    assert "is no setting" not in ours.get("/engines").text


def test_a_second_build_of_the_same_name_is_kept_beside_the_first(ours, shop):
    for bore in ("3.9", "4.0"):
        ours.post("/ask/save", data={**BUILD, "sheet_id": "twice", "bore": bore})
    found = [build_files.read(shop / "builds" / f"twice{n}.yaml")[0].number("bore")
             for n in ("", "-2")]  # fmt: skip
    assert found == [3.9, 4.0]


@pytest.mark.parametrize("name", ["Head A (2.02/1.60)", 'say "so"', "Zoë's #1", "a: b", "- x"])
def test_names_as_people_write_them_survive_the_way_to_a_file(tmp_path, name):
    folder = Folder(tmp_path)
    path = saved_builds.save(folder, {**BUILD, "sheet_id": name}, Units.INCH)
    assert path.parent == tmp_path.resolve() / "builds"
    (build,) = build_files.read(path)
    assert build.sheet_id == name
    assert build.accepted
    assert [one.build.sheet_id for one in saved_builds.builds(folder)] == [name]


@pytest.mark.parametrize("units", [Units.INCH, Units.METRIC])
def test_a_build_shown_in_a_form_and_read_from_it_is_the_same(units):
    build = build_files.of_fields({**FIELDS, "bore": "4.03 in", "intake_lift": "0.475 in"})
    again = build_fields.build_of(build_fields.texts_of(build, units), units)
    for name, value in build.given.items():
        if isinstance(value, float):
            assert again.number(name) == pytest.approx(value, rel=2e-3), name
        elif name in build_fields.texts_of(build, units):
            assert again.values[name] == value


def test_a_full_disk_is_a_sentence_and_changes_nothing(tmp_path, monkeypatch):
    folder = Folder(tmp_path)
    saved_builds.save(folder, BUILD, Units.INCH)
    before = (tmp_path / "builds" / "launch.yaml").read_bytes()

    def full(path, data):
        del data
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))

    monkeypatch.setattr(folders.whole_writes, "write", full)
    with pytest.raises(InputError, match=r"No space left on device\. Nothing was changed"):
        saved_builds.save(folder, {**BUILD, "bore": "4"}, Units.INCH)
    assert (tmp_path / "builds" / "launch.yaml").read_bytes() == before
    assert [path.name for path in (tmp_path / "builds").iterdir()] == ["launch.yaml"]


def test_what_is_typed_in_is_a_sheet_as_good_as_any(tmp_path):
    pasted = "\n".join("\t".join(row) for row in PULL)
    typed_sheet.save(Folder(tmp_path), FIELDS, pasted, Units.INCH)
    done = json.loads(run("check", tmp_path, "--json").stdout)["sheets"]
    (tmp_path / "as-file").mkdir()
    (tmp_path / "as-file" / "tern-0417.csv").write_text(sheet_text())
    other = json.loads(run("check", tmp_path / "as-file", "--json").stdout)["sheets"]
    assert [one["accepted"] for one in (*done, *other)] == [True, True]


@pytest.mark.parametrize(("fields", "pasted", "where"), [({}, "2000 300", "sheet_id"),
                                                         (FIELDS, "  ", "readings")])  # fmt: skip
def test_what_cannot_be_a_sheet_names_its_field(tmp_path, fields, pasted, where):
    with pytest.raises(InputError) as found:
        typed_sheet.save(Folder(tmp_path), fields, pasted, Units.INCH)
    assert found.value.field == where
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("given", "names"),
    [({}, {"a", "b", "wrong"}), ({"q": "port TERN"}, {"a", "b"}), ({"cam_low": "220"}, {"b"}),
     ({"size_low": "100", "size_high": "300"}, {"a", "b"}), ({"family": "petrel-six"},
     {"a", "b", "wrong"}), ({"date_low": "2019"}, set()), ({"q": "nothing"}, set())],
)  # fmt: skip
def test_tests_are_found_by_words_family_size_cam_and_date(shop, given, names):
    tests = MeasuredTests(shop).read().tests.values()
    wanted = list_filter.read(given)
    assert {one.name for one in tests if wanted.takes(one)} == names


def test_a_filter_that_is_no_number_is_said_and_takes_all(shop):
    wanted = list_filter.read({"size_low": "abc"})
    assert wanted.faults == ("size",)
    assert len([one for one in MeasuredTests(shop).read().tests.values() if wanted.takes(one)]) == 3


def test_only_what_changed_is_read_again(tmp_path, monkeypatch):
    for number in range(4):
        (tmp_path / f"{number}.csv").write_text(sheet_text({"sheet_id": f"s{number}"}))
    tests = MeasuredTests(tmp_path)
    first = tests.read()
    assert tests.read() is first
    read = []
    import pullbook.workspace.measured_tests as module

    own = module.checked_sheets.of_source
    monkeypatch.setattr(
        module.checked_sheets, "of_source", lambda source, *more: read.append(source.name) or
        own(source, *more),
    )  # fmt: skip
    (tmp_path / "2.csv").write_text(sheet_text({"sheet_id": "s2", "octane": "91"}))
    os.utime(tmp_path / "2.csv", ns=(1, 1))
    again = tests.read()
    assert read == ["2.csv"]
    assert {one.sheet.values.get("octane") for one in again.tests.values()} == {None, 91.0}


def test_many_new_files_are_read_beside_and_those_of_before_are_shown_meanwhile(tmp_path):
    for number in range(160):
        (tmp_path / f"{number}.csv").write_text(sheet_text({"sheet_id": f"s{number}"}))
    tests = MeasuredTests(tmp_path)
    first = tests.read()
    assert first.pending is not None
    assert first.pending[1] == 160
    end = time.monotonic() + 60
    while (found := tests.read()).pending is not None and time.monotonic() < end:
        time.sleep(0.05)
    assert len(found.tests) == 160
    (tmp_path / "late.csv").write_text(sheet_text({"sheet_id": "late"}))
    assert len(tests.read().tests) == 161


def many(folder, number):
    for at in range(number):
        (folder / f"{at}.csv").write_text(sheet_text({"sheet_id": f"pull-{at:03d}"}))


def test_the_first_page_of_many_sheets_reads_none_and_says_that_they_are_read(
    tmp_path, monkeypatch
):
    many(tmp_path, 60)
    held = threading.Event()

    def slow(sources, root):
        del root
        yield reading.read(sources[0], tmp_path)
        held.wait(30)

    monkeypatch.setattr(reading, "beside", slow)
    here = []
    own = reading.read
    monkeypatch.setattr(reading, "read", lambda *given: here.append(given) or own(*given))
    folder = Folder(tmp_path)
    desk = Desk(folder, ModelInUse(folder), Retraining(folder, ModelInUse(folder)),
                Sharing(folder))  # fmt: skip
    begun = app(folder, Address("k" * 24, 1))
    begun.state.desk = desk
    scope = {"type": "http", "method": "GET", "path": "/ask", "query_string": b"", "headers": [],
             "app": begun}  # fmt: skip
    try:
        page = ask.view(Request(scope)).body.decode()
        assert "Reading your tests: " in page
        assert " of 60 files" in page
        assert len(here) <= 1
        deadline = time.monotonic() + 30
        while folder.tests.progress != (1, 60) and time.monotonic() < deadline:
            time.sleep(0.01)
        assert "Reading your tests: 1 of 60 files" in engines.view(Request(scope)).body.decode()
        assert "no sheet in the folder" not in share.view(Request(scope)).body.decode()
    finally:
        held.set()


def test_a_process_that_ends_early_costs_no_sheet(tmp_path, monkeypatch):
    """However long the list of what it is to read: longer than a pipe holds."""
    many(tmp_path, 60)
    far = [tmp_path / f"{'x' * 200}{at}.csv" for at in range(1000)]
    own = multiprocessing.get_context("spawn").Process
    gone = SimpleNamespace(Pipe=multiprocessing.Pipe, Process=lambda **_: own(target=int))
    monkeypatch.setattr(process_beside.multiprocessing, "get_context", lambda _: gone)
    tests = MeasuredTests(tmp_path)
    tests.read()
    until = time.monotonic() + 60
    while tests.progress is not None and time.monotonic() < until:
        time.sleep(0.05)
    assert len(tests.read().tests) == 60
    assert not list(reading.beside(far, tmp_path))


def test_a_process_reads_what_would_be_read_here_and_says_a_mistake_in_settings(tmp_path):
    (tmp_path / shop_settings.FILE).write_text("headings: {Lift at valve: intake_lift}\n")
    many(tmp_path, 3)
    sources = sorted(tmp_path.glob("*.csv"))
    found = list(reading.beside(sources, tmp_path))
    here = [reading.read(one, tmp_path) for one in sources]
    assert [one for one, _ in found] == sources
    for (_, [(raw, sheet)]), (_, [(own, same)]) in zip(found, here, strict=True):
        assert sheet == same
        assert replace(raw, headings=own.headings) == own
        assert raw.headings.sheet("Lift at valve").field == "intake_lift"
    (tmp_path / shop_settings.FILE).write_text("no_such_thing: 1\n")
    with pytest.raises(InputError, match="no_such_thing"):
        list(reading.beside(sources, tmp_path))


def test_a_page_of_many_tests_lists_few_and_suggests_what_is_typed(tmp_path, tmp_path_factory):
    many(tmp_path, 60)
    with opened(tmp_path_factory.mktemp("state"), tmp_path) as address, client(address) as page:
        until = time.monotonic() + 60
        while "Reading your tests" in page.get("/engines").text and time.monotonic() < until:
            time.sleep(0.2)
        for view in ("/ask", "/compare", "/choose"):
            text = page.get(view).text
            assert text.count('<option value="pull-0') == 50
            assert 'data-names="/names' in text
        assert page.get("/names", params={"q": "05"}).json() == [
            "pull-005", *(f"pull-05{digit}" for digit in range(10))
        ]  # fmt: skip
        assert len(page.get("/names/tests", params={"q": "PULL"}).json()) == 30
        assert page.get("/names", params={"q": "heron"}).json() == []
        events = page.get("/engines/progress").text
        assert events.startswith("event: end")
        assert page.get("/share/progress").text.startswith("event: end")


def test_the_model_in_use_is_named_without_loading_what_trains_one(tmp_path):
    code = (
        "import sys, pathlib; from pullbook.workspace.folder import Folder;"
        " from pullbook.workspace.model_in_use import ModelInUse;"
        f" ModelInUse(Folder(pathlib.Path({str(tmp_path)!r}))).place;"
        " sys.exit('pandas' in sys.modules or 'pullbook.model.training.bundle' in sys.modules)"
    )
    (tmp_path / "models").mkdir()
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_plan_counts_files_and_then_sheets(tmp_path):
    many(tmp_path, 160)
    sharing, said = Sharing(Folder(tmp_path)), []
    tests = sharing.folder.tests
    while not tests.read().tests or tests.progress is not None:
        time.sleep(0.05)
    until = time.monotonic() + 60
    while (plan := sharing.plan_soon()) is None and time.monotonic() < until:
        time.sleep(0.01)
    sharing_module._plan(said.append, *sharing.asked())
    *steps, here = said
    names = ("Reading your files for sharing", "Working out what would leave")
    assert steps == [(name, at, 160) for name in names for at in range(0, 160, 20)]
    assert [one.text for one in plan.accepted] == [one.text for one in here.accepted]


def test_codes_in_addresses_stay_and_a_finding_beside_others_is_counted_once(tmp_path):
    for name in ("x", "y"):
        (tmp_path / f"{name}.csv").write_text(
            sheet_text({"sheet_id": "same", "octane": "91" if name == "x" else "93"})
        )
    tests = MeasuredTests(tmp_path)
    codes = set(tests.read().tests)
    os.utime(tmp_path / "x.csv", ns=(1, 1))
    again = tests.read()
    assert set(again.tests) == codes
    for one in again.tests.values():
        assert [f.code for f in one.sheet.findings].count("repeated-field") == 1


def test_a_model_that_is_damaged_is_a_sentence_and_a_new_one_is_seen_at_once(tmp_path, demo):
    folder = Folder(tmp_path)
    model = ModelInUse(folder)
    assert model.predictor().manifest["invented"]
    (tmp_path / "models").mkdir()
    assert model.place is None
    assert run("promote", demo.bundle, "--into", tmp_path / "models").returncode == 0
    identity = bundle.load(demo.bundle)[1]["id"]
    assert model.predictor().manifest["id"] == identity
    (tmp_path / "models" / identity / "bundle.json").write_text("{}")
    with pytest.raises(NoModelError, match="cannot be loaded"):
        ModelInUse(folder).predictor()


@pytest.mark.slow
def test_what_a_model_was_judged_by_stays_with_it(demo, tmp_path):
    (tmp_path / "shop").mkdir()
    folder = Folder(tmp_path / "shop")
    training = Retraining(folder, ModelInUse(folder))
    shutil.copytree(demo.bundle, training.place / retrain.BUNDLE)
    figures = [["error of the curve, % rms", "6.10", "4.20", "-1.90", "-2.40 to -1.20"]]
    said = {"id": "x", "sheets": 9, "by": "4 sheets of 3 engines", "rows": figures}
    (training.place / retrain.SUMMARY).write_text(json.dumps(said))
    (training.place / retrain.PAGE).write_text("<p>figure by figure</p>")
    assert training.accuracy() is None
    assert training.page(new=True) == training.place / retrain.PAGE
    assert training.page(new=False) is None
    training.keep("it is the first")
    assert training.accuracy() == said
    with opened(tmp_path / "state", tmp_path / "shop") as found, client(found) as ours:
        page = ours.get("/model").text
        whole = ours.get(re.search(r'href="(/model/accuracy)"', page)[1])
        assert ours.get("/model/accuracy?which=new").status_code == 404
    assert whole.text == "<p>figure by figure</p>"
    assert whole.headers["content-disposition"].startswith("attachment")
    assert "Measured on 4 sheets of 3 engines that this model has not seen" in page
    assert ["error of the curve, % rms", "4.20", "6.10"] in rows(page)


def test_a_plan_of_many_sheets_is_made_beside(tmp_path, monkeypatch):
    for number in range(4):
        (tmp_path / f"{number}.csv").write_text(sheet_text({"sheet_id": f"s{number}"}))
    sharing = Sharing(Folder(tmp_path))
    monkeypatch.setattr(sharing_module, "_AT_ONCE", 3)
    assert sharing.plan_soon() is None
    assert sharing.waiting is not None
    assert sharing.waiting[2] == 4
    until = time.monotonic() + 30
    while sharing.waiting and time.monotonic() < until:
        time.sleep(0.05)
    found = sharing.plan_soon()
    assert found is not None
    assert len(found.accepted) + len(found.refused) == 4


def test_a_plan_that_cannot_be_made_beside_says_why_once(tmp_path, monkeypatch):
    for number in range(4):
        (tmp_path / f"{number}.csv").write_text(sheet_text({"sheet_id": f"s{number}"}))
    sharing = Sharing(Folder(tmp_path))
    monkeypatch.setattr(sharing_module, "_AT_ONCE", 3)

    def broken(*_):
        raise InputError("a settings file cannot be read")

    monkeypatch.setattr(process_beside, "each", broken)
    assert sharing.plan_soon() is None
    until = time.monotonic() + 30
    while sharing.waiting and time.monotonic() < until:
        time.sleep(0.05)
    with pytest.raises(InputError, match="a settings file cannot be read"):
        sharing.plan_soon()


def test_training_is_cancelled_without_a_trace_and_nothing_is_kept_that_is_not_there(tmp_path):
    for number in range(3):
        (tmp_path / f"{number}.csv").write_text(sheet_text({"sheet_id": f"s{number}"}))
    folder = Folder(tmp_path)
    training = Retraining(folder, ModelInUse(folder))
    with pytest.raises(RetrainingError, match="no new model"):
        training.keep("")
    training.begin()
    assert training.running
    training.begin()  # a second tab: it goes on
    training.cancel()
    assert not training.running
    assert not training.place.exists()
    assert training.fault == ""


def test_training_that_cannot_be_done_ends_in_a_sentence(tmp_path):
    folder = Folder(tmp_path)
    training = Retraining(folder, ModelInUse(folder))
    training.begin()
    end = time.monotonic() + 60
    while training.running and time.monotonic() < end:
        time.sleep(0.1)
    assert "has no sheets in it" in training.fault
    assert training.candidate() is None


def test_a_decision_is_in_the_file_that_the_command_line_reads(tmp_path):
    (tmp_path / "unsaid.csv").write_text(sheet_text({"sheet_id": "unsaid", "correction": ""}))
    with opened(tmp_path / ".state", tmp_path) as address, client(address) as ours:
        page = ours.get("/engines").text
        lines = re.findall(r'name="line" value="([^"]*)"', page)
        assert "correction: observed" in lines
        done = ours.post("/engines/decide", data={"line": "correction: observed"})
        assert "Decided: correction: observed" in done.text
    assert shop_settings.load(tmp_path / "pullbook.yaml").values == {"correction": "observed"}
    assert run("check", tmp_path).returncode == 0


ODD = [{"band_low": "x"}, {"band_low": "5000"}, {"band_low": "-1"}, {"level": "2"},
       {"level": "nan"}, {"band_high": "1e9"}]  # fmt: skip


@pytest.mark.parametrize("given", ODD)
def test_a_parameter_that_makes_no_sense_falls_back_and_is_said(given):
    found = parameters.read(given)
    assert (found.band, found.level) == (parameters.BAND, parameters.LEVEL)
    assert len(found.faults) == 1
    assert np.isfinite(found.level)


def test_no_text_of_a_page_names_code(ours):
    for path in ("/ask", "/compare", "/engines", "/engines/type", "/choose", "/model", "/share"):
        text = re.sub(r"<(script|datalist|pre|textarea|code).*?</\1>|<[^>]*>", " ",
                      ours.get(path).text, flags=re.DOTALL)  # fmt: skip
        assert re.findall(r"\b[a-z]+_[a-z_]+\b", text) == [], path


def test_the_pages_files_are_installed():
    from importlib.resources import files

    names = {Path(str(one)).name for one in files("pullbook.views").joinpath("static").iterdir()}
    assert names == {"page.css", "page.js"}


LOAD = "propeller 150 hp @ 4000"


def test_a_load_and_cautions_are_answered_as_on_the_command_line(ours, tmp_path):
    asked = {**BUILD, "load": LOAD, "most_speed": "3000", "most_piston": "1000 ft/min"}
    page = ours.get("/ask", params=asked).text
    (tmp_path / "launch.yaml").write_text("".join(f"{k}: {v}\n" for k, v in BUILD.items()))
    done = run("predict", tmp_path / "launch.yaml", "--load", LOAD, "--caution", "peak_speed=3000",
               "--caution", "piston_speed=1000 ft/min", "--json")  # fmt: skip
    found = json.loads(done.stdout)
    above = page[page.index("Torque above the load") :]
    shown = {row[0]: row[1:] for row in rows(above) if len(row) == 5}
    points = [one for one in found["loads"][0]["curve"] if one["supported"]]
    assert len(points) > 5
    for point in points:
        load, margin, _, chance = shown[f"{point['rpm']:.0f}"]
        assert load == f"{point['load']:.0f}"
        assert float(margin) == pytest.approx(point["margin"], abs=0.51)
        assert html.unescape(chance) == figures.percent(point["chance"])
    assert page.count("Caution: ") == len(found["cautions"]) == 2
    assert "dotted: torque that the load takes" in page
    sheet = html.unescape(re.search(r'href="(/sheet[^"]*)"', page)[1])
    assert "propeller, 150 hp at 4000 rpm" in ours.get(sheet).text


def test_a_search_clears_a_load_as_on_the_command_line(ours, tmp_path):
    load = "propeller 190 hp @ 4500"
    page = ours.get("/choose", params={**SEARCH, "load": load, "most_speed": "3000"}).text
    (tmp_path / "launch.yaml").write_text("".join(f"{k}: {v}\n" for k, v in BUILD.items()))
    done = run("choose", tmp_path / "launch.yaml", "--free", "camshaft", "--goal", "2000:4500",
               "--load", load, "--caution", "peak_speed=3000")  # fmt: skip
    said = " ".join(done.stdout.split())
    told = [html.unescape(one) for one in re.findall(r"<p[^>]*>([^<]*)</p>", page)]
    assert sum(" load" in one and one in said for one in told) >= 1
    assert any(one.startswith("Caution: ") and one in said for one in told)
    assert "dotted: torque that the load takes; propeller, 190 hp at 4500 rpm" in page


def test_a_list_is_chosen_from_within_a_budget_and_above_a_load(ours, shop):
    (shop / "parts").mkdir(exist_ok=True)
    (shop / "parts" / "cams.yaml").write_text(choose_list.EXAMPLE)
    asked = {"list": "cams.yaml", "budget": "900", "load": "propeller 190 hp @ 4500"}
    page = " ".join(html.unescape(ours.get("/choose/list", params=asked).text).split())
    done = run("choose", shop / "parts" / "cams.yaml", "--budget", "900", "--load", asked["load"],
               "--json")  # fmt: skip
    found = json.loads(done.stdout)
    assert "price at most 900" in page
    names = [" + ".join(one["parts"].values())
             for one in (*found["ranked"], *found["not_clearing"])]  # fmt: skip
    assert names
    assert [row[0] for row in rows(page) if len(row) == 8][1:] == names
    assert page.count("What more money buys") == (len(found["money"]) > 1)
    assert ("Not sure to clear the load" in page) == bool(found["not_clearing"])


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [("load", "propeler 150 hp @ 4000", "Did you mean propeller?"),
     ("load", "/etc/secret.csv", "a table cannot be given here"),
     ("load", "\n".join([LOAD] * 6), "There are 6 loads; 5 is the most"),
     ("load", "propeller 150 @ 4000", "write propeller 150 hp @ 4000, or towing"),
     ("most_octane", "high", "Type a number, such as 87."),
     ("most_piston", "20", "Type a number with its unit, such as 3800 ft/min."),
     ("budget", "much", "Type the budget as a number"), ("budget", "-1", "more than nothing")],
)  # fmt: skip
def test_a_demand_that_means_nothing_is_said_beside_it_and_stays(ours, shop, name, text, said):
    (shop / "parts").mkdir(exist_ok=True)
    (shop / "parts" / "cams.yaml").write_text(choose_list.EXAMPLE)
    views = [("/choose/list", {"list": "cams.yaml"}), ("/choose", SEARCH), ("/ask", BUILD)]
    for view, given in views[: 1 if name == "budget" else 3]:
        page = ours.get(view, params={**given, name: text}).text
        beside = page[page.index(f'id="h-{name}"') :][:400]
        assert said in html.unescape(beside)
        assert text.strip() in html.unescape(page)
        plain = re.sub("^[^>]*>|<[^>]*>", "", beside.split("</p>")[0])
        assert not re.search(r"_|--|csv table", plain)
    assert view != "/ask" or "Peak torque" in page


def test_a_list_names_no_file_outside_its_folder(ours, tmp_path):
    (tmp_path / "load.csv").write_text("rpm,torque (lb-ft)\n2000,100\n3000,120\n")
    text = f"{choose_list.EXAMPLE}loads: ['{tmp_path}/load.csv ']\n"
    page = ours.post("/choose/save", data={"name": "far", "text": text}).text
    assert "must lie beside far.yaml" in page


def test_no_address_and_no_list_starts_from_a_file_outside_the_folder(ours, shop, tmp_path):
    far = tmp_path / "far.csv"
    far.write_text(sheet_text({"sheet_id": "from far away"}))
    (shop / "parts").mkdir(exist_ok=True)
    for named in (str(far), os.path.relpath(far, shop), os.path.relpath(far)):
        there = {**BUILD, "measured": named}
        query = urlencode({**there, "start": named})
        for view, given in (
            ("/ask", there), ("/ask", {**BUILD, "start": named}), ("/sheet", there),
            ("/sheet", {**BUILD, "start": named}),
            ("/compare", {"a": "a", "b": "launch", "b_is": query}),
            ("/compare", {"a": named, "b": "a"}), ("/choose", {**SEARCH, "build_is": query}),
            ("/choose", {**SEARCH, "build": named}),
        ):  # fmt: skip
            assert "from far away" not in ours.get(view, params=given).text
        text = choose_list.EXAMPLE.replace("build: {", f"build: {{measured: '{named}', ")
        (shop / "parts" / "far.yaml").write_text(text)
        assert "from far away" not in ours.get("/choose/list", params={"list": "far.yaml"}).text


def test_a_measured_pull_is_drawn_beside_a_prediction_and_in_its_sheet(ours):
    plain = ours.get("/ask", params=BUILD).text
    page = ours.get("/ask", params={**BUILD, "beside": "a"}).text
    said = "dash and dots: a as measured, at SAE J1349"
    assert said in page
    assert said not in plain
    # Torque and power, in the drawing for the desk and in that for the phone.
    assert page.count(">measured</text>") == plain.count(">measured</text>") + 4
    sheet = html.unescape(re.search(r'href="(/sheet[^"]*)"', page)[1])
    assert "a as measured" in ours.get(sheet).text
    for name, why in (("aa", "There is no test called aa"), ("wrong", "was not accepted")):
        page = ours.get("/ask", params={**BUILD, "beside": name}).text
        assert why in page[page.index('id="h-beside"') :][:300]
        assert "Peak torque" in page


def test_what_was_typed_beside_a_list_stays_whichever_button_is_pressed(ours, shop):
    (shop / "parts").mkdir(exist_ok=True)
    mine = shop / "parts" / "mine.yaml"
    mine.write_text(choose_list.EXAMPLE)
    typed = {"list": "mine.yaml", "was": "mine.yaml", "name": "mine.yaml", "budget": "900",
             "load": LOAD, "most_octane": "87", "text": choose_list.EXAMPLE}  # fmt: skip
    changed = choose_list.EXAMPLE.replace("name: long", "name: longer")
    before = mine.stat().st_mtime_ns
    for more in ({"what": "choose"}, {}, {"what": "choose", "text": changed}):
        done = ours.post("/choose/save", data={**typed, **more})
        for name in ("load", "budget", "most_octane"):
            assert done.url.params[name] == typed[name]
        assert "What more money buys" in done.text or "Result" in done.text
        if more == {"what": "choose"}:
            assert mine.stat().st_mtime_ns == before
    assert mine.read_text() == changed


def test_what_changes_below_a_folder_is_seen(tmp_path):
    many(tmp_path, 3)
    (tmp_path / "more").mkdir()
    tests = MeasuredTests(tmp_path)
    assert len(tests.read().tests) == 3
    assert tests.read() is tests.read()
    first = sorted(tmp_path.glob("*.csv"))[0]
    (tmp_path / "more" / "own.csv").write_text(
        first.read_text().replace("sheet_id: ", "sheet_id: x")
    )
    assert len(tests.read().tests) == 4
    before = tests.read()
    first.write_text(f"{first.read_text()}\n")
    assert tests.read() is not before
    (tmp_path / ".hidden").mkdir()
    before = tests.read()
    (tmp_path / ".hidden" / "x.csv").write_text("no sheet")
    assert tests.read() is before
    (tmp_path / shop_settings.FILE).write_text("no_such_thing: 1\n")
    assert "no_such_thing" in tests.read().fault
    (tmp_path / shop_settings.FILE).unlink()
    (tmp_path / "link").symlink_to(tmp_path / "more")
    (tmp_path / "more" / "own.csv").unlink()
    assert len(tests.read().tests) == 3
    assert file_marks.below(tmp_path) is None
