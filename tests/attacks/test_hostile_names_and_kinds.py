"""Files that are none, and names that are no text: each costs itself, and the rest is read."""

import json
import os
import socket
import threading
import time

import pytest
from command_line import run
from valid_sheet import sheet_text


@pytest.fixture
def folder(tmp_path):
    place = tmp_path / "sheets"
    place.mkdir()
    (place / "sound.csv").write_text(sheet_text({"sheet_id": "sound"}))
    return place


def link_to_itself(place):
    (place / "loop.csv").symlink_to("loop.csv")


def links_in_a_ring(place):
    (place / "a.csv").symlink_to("b.csv")
    (place / "b.csv").symlink_to("a.csv")


def folder_in_itself(place):
    (place / "ring").symlink_to(".")


def fifo(place):
    os.mkfifo(place / "pipe.csv")


def fifo_of_text(place):
    os.mkfifo(place / "pipe.txt")


def fifo_workbook(place):
    os.mkfifo(place / "pipe.xlsx")


def fifo_settings(place):
    os.mkfifo(place / "pullbook.yaml")


def unix_socket(place):
    with socket.socket(socket.AF_UNIX) as one:
        one.bind(os.path.relpath(place / "talk.csv"))


def folder_named_csv(place):
    (place / "folder.csv").mkdir()
    (place / "builds.csv").mkdir()


def device(place):
    (place / "zeros.csv").symlink_to("/dev/zero")


def no_text(place):
    (place / os.fsdecode(b"na\xffme.csv")).write_text(sheet_text({"sheet_id": "odd"}))


def no_text_folder(place):
    inner = place / os.fsdecode(b"fo\xfflder")
    inner.mkdir()
    (inner / "in.csv").write_text(sheet_text({"sheet_id": "odd"}))


def newline(place):
    (place / "a\nb\x1b[31m.csv").write_text(sheet_text({"sheet_id": "odd"}))


KINDS = [
    link_to_itself, links_in_a_ring, folder_in_itself, fifo, fifo_of_text, fifo_workbook,
    fifo_settings, unix_socket, folder_named_csv, device, no_text, no_text_folder, newline,
]  # fmt: skip
SILENT = {fifo_settings, folder_named_csv, folder_in_itself}


@pytest.mark.parametrize("kind", KINDS)
def test_each_costs_itself_and_the_rest_is_read(folder, tmp_path, kind):
    kind(folder)
    start = time.perf_counter()
    done = run("check", folder, "--json")
    found = json.loads(done.stdout)["sheets"]
    assert [one["sheet_id"] for one in found if one["accepted"]] == ["sound"]
    if kind not in SILENT:
        named = [one for one in found if not one["accepted"]]
        assert named or "Not read" in done.stderr
        assert all(f["code"] == "not-readable" for one in named for f in one["findings"])
    text = run("check", folder)
    assert text.stdout.isprintable() or "\x1b" not in text.stdout + text.stderr
    key = tmp_path / "key"
    done = run("contribute", folder, "--into", tmp_path / "out", "--key-file", key)
    assert len(list((tmp_path / "out" / "accepted").iterdir())) == 1
    assert "error in the program" not in done.stderr
    for words in (
        ("curate", tmp_path / "out", "--out", tmp_path / "curated"),
        ("curate", folder, "--own", "--out", tmp_path / "own", "--key-file", key),
    ):
        done = run(*words)
        assert "error in the program" not in done.stderr
        assert done.returncode in (0, 1), done.stderr
    assert time.perf_counter() - start < 60


@pytest.mark.parametrize("kind", KINDS)
def test_one_among_contributed_sheets_does_not_stop_the_curation(folder, tmp_path, kind):
    key = tmp_path / "key"
    run("contribute", folder, "--into", tmp_path / "out", "--key-file", key)
    kind(tmp_path / "out" / "accepted")
    done = run("curate", tmp_path / "out", "--out", tmp_path / "curated")
    assert done.returncode in (0, 1), done.stderr
    assert (tmp_path / "curated" / "builds.parquet").is_file()
    again = run("curate", tmp_path / "out", "--out", tmp_path / "curated")
    assert again.returncode == done.returncode


def test_a_file_that_grows_while_it_is_read_is_named(folder, monkeypatch):
    from pullbook.pipeline.storage import regular_files

    path = folder / "growing.csv"
    path.write_text(sheet_text({"sheet_id": "growing"}))
    real_fstat = os.fstat
    with monkeypatch.context() as patch:
        patch.setattr(regular_files.os, "fstat", lambda handle: _grown(real_fstat(handle), path))
        with pytest.raises(regular_files.UnusableFileError, match="still being written"):
            regular_files.read(path, 10**6)
    assert regular_files.read(path, 10**6)


def test_a_file_that_nobody_may_read_is_named(folder, monkeypatch):
    from pullbook.pipeline.storage import regular_files

    path = folder / "secret.csv"
    path.write_text(sheet_text({"sheet_id": "secret"}))
    real = os.open

    def refuse(name, *more):  # the owner of the machine may read everything
        if os.fspath(name) == os.fspath(path):
            raise PermissionError(13, "Permission denied", os.fspath(path))
        return real(name, *more)

    monkeypatch.setattr(regular_files.os, "open", refuse)
    found = json.loads(run("check", folder, "--json").stdout)["sheets"]
    assert [one["sheet_id"] for one in found if one["accepted"]] == ["sound"]
    (named,) = (one for one in found if not one["accepted"])
    assert "secret.csv" in named["source"]
    assert [f["code"] for f in named["findings"]] == ["not-readable"]


def _grown(found, path):
    with path.open("a") as file:
        file.write("6000,1\n")
    return found


@pytest.mark.parametrize("kind", [fifo, link_to_itself, unix_socket, device])
def test_named_alone_it_is_one_sentence(tmp_path, kind):
    kind(tmp_path)
    (path,) = (p for p in tmp_path.iterdir())
    done = []
    thread = threading.Thread(target=lambda: done.append(run("check", path)), daemon=True)
    thread.start()
    thread.join(20)
    assert done, "it hangs"
    assert done[0].returncode in (1, 2)
    assert "error in the program" not in done[0].stderr


@pytest.mark.parametrize(
    "words",
    [
        ("withdraw", "--apply", "{}", "--from", "."),
        ("bring-over", "{}", "--into", "out"),
        ("unpack", "{}", "--into", "out"),
        ("restore-key", "{}"),
        ("predict", "{}"),
        ("predict", "build.yaml", "--trust", "{}"),
        ("check", "sheets", "--settings", "{}"),
    ],
)
def test_no_command_waits_for_a_pipe(tmp_path, monkeypatch, words):
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "a.csv").write_text(sheet_text())
    monkeypatch.chdir(tmp_path)
    (tmp_path / "build.yaml").write_text("cylinders: 8\nbore: 4\nstroke: 3.5\n")
    os.mkfifo(tmp_path / "pipe.yaml")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    done = run(*(word.format(tmp_path / "pipe.yaml") for word in words))
    assert done.returncode in (1, 2)
    assert "error in the program" not in done.stderr
