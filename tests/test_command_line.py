"""The commands as a user runs them: exit statuses, JSON, no traceback."""

import json
import re
from pathlib import Path

import pytest
import yaml
from command_line import run, run_apart
from valid_sheet import FIELDS, PULL

from pullbook.pipeline.privacy import key_file
from pullbook.pipeline.privacy.contributed_sheet import without_signature
from pullbook.schemas.field_words import spoken, unit_of
from pullbook.schemas.fields import FIELDS as FIELDS_OF

ROOT = Path(__file__).parents[1]


def test_version_and_bare_call():
    assert re.match(r"pullbook \d+\.\d+\.\d+", run_apart(["--version"]).stdout)
    bare = run_apart([])
    assert "Usage" in bare.stdout + bare.stderr


def test_check_prints_json_and_nothing_else(write_sheet, tmp_path):
    write_sheet(name="in/good.csv")
    write_sheet({"sheet_id": "bad", "bore": "99 in"}, name="in/bad.csv")
    done = run_apart(["check", tmp_path / "in", "--json"])
    assert done.returncode == 1
    sheets = json.loads(done.stdout)["sheets"]
    assert {s["sheet_id"]: s["accepted"] for s in sheets} == {"tern-0417": True, "bad": False}
    (finding,) = next(s for s in sheets if not s["accepted"])["findings"]
    assert set(finding) == {"code", "severity", "field", "row", "value", "message"}
    assert finding["severity"] == "refuse"
    assert run("check", tmp_path / "in" / "good.csv").returncode == 0


@pytest.fixture(scope="module")
def way(once):
    """The whole way on sheets of twelve made-up shops, by the commands alone."""
    return once("way", whole_way)


def whole_way(folder):
    for shop in range(12):
        for n in range(3):
            factor = 1 + 0.02 * ((shop + n) % 5 - 2)
            fields = {**FIELDS, "sheet_id": f"s{shop}-{n}", "shop": f"Shop number {shop}"}
            fields["compression_ratio"] = f"{9 + 0.3 * ((shop * n) % 5)}"
            rows = [(r, f"{factor * float(t):.1f}") for r, t, _ in PULL[1:]]
            head = "\n".join(f"{k}: {v}" for k, v in fields.items())
            text = f"---\n{head}\n---\nrpm,torque (N.m)\n" + "\n".join(map(",".join, rows))
            path = folder / "in" / f"{shop}-{n}.csv"
            path.parent.mkdir(exist_ok=True)
            path.write_text(text)
    params = folder / "params.yaml"
    params.write_text("train: {rounds: 40, folds: 4}\n")
    key = folder / "key"
    steps = [
        ("contribute", folder / "in", "--into", folder / "shared", "--key-file", key),
        ("curate", folder / "shared", "--out", folder / "curated"),
        ("features", folder / "curated", "--out", folder / "features"),
        ("train", folder / "curated", "--out", folder / "bundle", "--params", params, "--seed", 3),
    ]
    for step in steps:
        done = run(*step)
        assert done.returncode == 0, (step, done.stderr)
        assert done.stdout
    return folder


def test_predict_answers_a_sheet_a_build_and_a_table(way, tmp_path):
    build = tmp_path / "b.yaml"
    build.write_text("bore: 99 mm\nstroke: 92 mm\ncylinders: 6\ncompression_ratio: 9.5\n")
    table = tmp_path / "builds.csv"
    table.write_text(
        "sheet_id,bore,stroke,cylinders,shop\n"
        "a,3.9,3.6,6,Shop number 3\nb,,3.6,6,\nc,3.9,3.6,6,Nobody\n"
    )
    rpm = ("--rpm", "2000:4500:500")
    one = run_apart(["predict", build, "--bundle", way / "bundle", "--json", *rpm])
    assert one.returncode == 0, one.stderr
    (answer,) = map(json.loads, one.stdout.splitlines())
    assert [p["rpm"] for p in answer["curve"]] == [2000, 2500, 3000, 3500, 4000, 4500]
    assert answer["calibrated"] is True
    many = run("predict", table, "--bundle", way / "bundle", "--json", "--key-file", way / "key")
    assert many.returncode == 1
    a, b, c = map(json.loads, many.stdout.splitlines())
    assert (a["sheet_id"], b["sheet_id"], c["sheet_id"]) == ("a", "b", "c")
    assert a["regime"] == "known shop"
    assert c["regime"] == "new shop"
    assert (b["error"]["code"], b["error"]["field"]) == ("missing", "bore")
    as_shop = ("--shop", "Shop number 4", "--key-file", way / "key")
    sheet = run("predict", way / "in" / "0-0.csv", "--bundle", way / "bundle", *as_shop)
    assert sheet.returncode == 0
    assert "by this shop" in " ".join(sheet.stdout.split())
    assert "does not clear an engine" in " ".join(sheet.stdout.split())


def test_a_field_nobody_knows_is_told_and_left_out(way, tmp_path):
    build = tmp_path / "b.yaml"
    build.write_text("bore: 99 mm\nstroke: 92 mm\ncylinders: 6\npaint: grey\nfuel: petrol\n")
    done = run("predict", build, "--bundle", way / "bundle", "--json")
    assert done.returncode == 0
    assert "'paint' is not a field" in done.stderr
    assert "'petrol' was read as 'gasoline'" in done.stderr
    assert len(done.stdout.splitlines()) == 1


def test_a_level_beyond_the_shops_gives_the_one_they_keep(way, tmp_path):
    build = tmp_path / "b.yaml"
    build.write_text("bore: 99 mm\nstroke: 92 mm\ncylinders: 6\n")
    done = run("predict", build, "--bundle", way / "bundle", "--json", "--level", "0.95")
    answer = json.loads(done.stdout)
    assert done.returncode == 0
    assert answer["calibrated"] is True
    kept = answer["groups"] / (answer["groups"] + 1)
    assert kept < 0.95
    assert answer["level"] == pytest.approx(kept, abs=1e-4)
    assert answer["peak_torque"]["level"] == pytest.approx(kept, abs=1e-4)
    assert all(p["torque_low"] < p["torque"] < p["torque_high"] for p in answer["curve"])


PICTURES = ("svg", "png", "pdf")


def drawn(way, folder, suffix):
    """Return the words that draw a picture, and where it will be."""
    path = folder / f"picture.{suffix}"
    return ("predict", way / "in" / "0-0.csv", "--bundle", way / "bundle", "--plot", path), path


@pytest.fixture(scope="module")
def drawn_apart(way, tmp_path_factory):
    """Every kind of picture, drawn in another process."""
    folder = tmp_path_factory.mktemp("drawn")
    done = run_apart(*(drawn(way, folder, suffix)[0] for suffix in PICTURES))
    assert done.returncode == 0, done.stderr
    return {suffix: drawn(way, folder, suffix)[1] for suffix in PICTURES}


@pytest.mark.parametrize("suffix", PICTURES)
def test_a_picture_is_drawn_and_the_same_each_time(way, drawn_apart, tmp_path, suffix):
    words, path = drawn(way, tmp_path, suffix)
    assert run(*words).returncode == 0
    one, two = path.read_bytes(), drawn_apart[suffix].read_bytes()
    assert one == two
    assert len(one) > 5000


def test_one_pair_of_axes_is_for_one_build(way, tmp_path):
    words, path = drawn(way, tmp_path, "svg")
    assert run(*words).returncode == 0
    two_panels = path.read_text().count("torque, lb-ft")
    assert run(*words, "--one-pair").returncode == 0
    one = path.read_text()
    assert one.count("engine speed, rpm") == 1 == two_panels
    assert float(re.search(r'height="([\d.]+)pt"', one)[1]) < 650
    assert run(*words, "--one-pair", "--beside", way / "in" / "0-0.csv").returncode == 0
    assert len(path.read_text()) > len(one)
    table = tmp_path / "builds.csv"
    table.write_text("sheet_id,cylinders,bore,stroke\na,8,4,3.5\nb,8,4.03,3.5\n")
    several = ("predict", table, "--bundle", way / "bundle", "--one-pair", "--plot", path)
    assert "holds one build" in " ".join(run(*several).stderr.split())
    assert "give --plot FILE" in " ".join(run(*words[:-2], "--one-pair").stderr.split())


def test_without_the_key_a_shop_is_a_stranger(way, tmp_path):
    env = {"XDG_CONFIG_HOME": str(tmp_path), "HOME": str(tmp_path)}
    done = run("predict", way / "in" / "0-0.csv", "--bundle", way / "bundle", "--json", env=env)
    assert done.returncode == 0
    assert json.loads(done.stdout)["regime"] == "new shop"
    assert "--key-file" in done.stderr


def test_the_key_is_made_in_the_users_configuration(write_sheet, tmp_path):
    env = {"XDG_CONFIG_HOME": str(tmp_path / "config"), "HOME": str(tmp_path)}
    done = run("contribute", write_sheet(), "--into", tmp_path / "out", env=env)
    assert done.returncode == 0
    (key,) = (tmp_path / "config").rglob("contributor.key")
    assert key.stat().st_mode & 0o777 == 0o600
    assert str(key) in done.stderr
    assert key_file.read(key)


USAGE = [
    ("check", "nowhere.csv"),
    ("check",),
    ("curate", "nowhere", "--out", "x"),
    ("train", "nowhere", "--out", "x"),
    ("features", "nowhere", "--out", "x"),
    ("report", "curation", "nowhere", "--out", "x"),
    ("contribute", "data/examples"),
    ("contribute", "data/examples", "--into", "x", "--preview"),
    ("check", "data/examples", "--headings", "nowhere.yaml"),
    ("check", "data/examples", "--headings", "data/README.md"),
    ("unseal", "data/examples", "--into", "x", "--key-file", "nowhere"),
    ("evaluate", "nowhere", "--out", "x"),
    ("predict", "nowhere.yaml", "--bundle", "nowhere"),
    ("predict", "data/examples/question.yaml", "--bundle", "nowhere"),
    ("predict", "data/examples/question.yaml", "--bundle", "x", "--rpm", "up"),
    ("predict", "data/examples/question.yaml", "--bundle", "x", "--rpm", "5000:2000:100"),
    ("predict", "data/examples/question.yaml", "--bundle", "x", "--rpm", "nan:2000:100"),
    ("predict", "data/examples/question.yaml", "--bundle", "x", "--level", "90"),
    ("predict", "data/examples/question.yaml", "--bundle", "x", "--plot", "a.docx"),
    ("contribute", "data/examples", "--into", "/dev/null/x", "--key-file", "/dev/null/y"),
    ("paint", "it"),
]


NOT_THERE = [
    ("check", "nowhere"),
    ("check", "data/examples", "--settings", "nowhere"),
    ("contribute", "nowhere", "--preview"),
    ("contribute", "data/examples", "--preview", "--against", "nowhere"),
    ("unseal", "nowhere", "--into", "x", "--key-file", "data/demo.key"),
    ("unseal", "data/examples", "--into", "x", "--key-file", "nowhere"),
    ("predict", "nowhere"),
    ("predict", "data/examples/question.yaml", "--bundle", "nowhere"),
    ("predict", "data/examples/question.yaml", "--shop", "Tern", "--key-file", "nowhere"),
    ("choose", "nowhere"),
    ("against", "nowhere"),
    ("curate", "nowhere", "--out", "x"),
    ("train", "nowhere", "--out", "x"),
    ("train", "data/examples", "--out", "x", "--params", "nowhere"),
    ("judge", "nowhere", "data", "--on", "nowhere"),
    ("promote", "nowhere"),
    ("audit", "nowhere", "--request", "data/demo.key"),
    ("audit", "data/examples", "--request", "nowhere"),
]


@pytest.mark.parametrize("words", NOT_THERE, ids=" ".join)
def test_what_is_not_there_is_told_in_the_same_words_everywhere(words):
    done = run(*(str(ROOT / w) if w.startswith("data/") else w for w in words))
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1] == "pullbook: nowhere does not exist"


@pytest.mark.parametrize("words", USAGE, ids=" ".join)
def test_what_cannot_be_done_is_one_sentence_and_status_2(words):
    words = [str(ROOT / w) if w.startswith("data/") else w for w in words]
    done = run(*words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr) > 10


def test_what_cannot_be_done_is_the_same_in_a_process_of_its_own():
    words = USAGE[0]
    here, apart = run(*words), run_apart(words)
    assert here == apart
    assert apart.returncode == 2


def test_settings_that_are_none_are_told(way, tmp_path):
    params = tmp_path / "p.yaml"
    for text, said in (("train: {turns: 3}\n", "turns"), ("trian: {}\n", "section `train`")):
        params.write_text(text)
        done = run("train", way / "curated", "--out", tmp_path / "b", "--params", params)
        assert done.returncode == 2
        assert said in " ".join(done.stderr.split())


def test_the_pipelines_parameters_are_the_settings():
    from pullbook.model.learning.settings import Settings, from_mapping

    params = yaml.safe_load((ROOT / "params.yaml").read_text())
    assert from_mapping(params["train"]) == Settings()


@pytest.mark.slow
def test_evaluate_writes_figures_and_a_picture(way, tmp_path):
    params = way / "params.yaml"
    done = run("evaluate", way / "curated", "--out", tmp_path, "--parts", 2, "--params", params)
    assert done.returncode == 0, done.stderr
    assert {p.name for p in tmp_path.iterdir()} == {
        "metrics.json", "coverage.csv", "errors.csv", "held_out.svg", "model.md", "model.html",
        "hardest.csv", "hardest.md", "hardest.html",
    }  # fmt: skip


def test_the_examples_are_as_the_readme_says():
    done = run("check", ROOT / "data" / "examples")
    assert done.returncode == 1
    assert "12 sheets: 10 accepted (5 with warnings), 2 rejected" in done.stdout


def test_a_preview_shows_all_that_leaves_and_writes_nothing(way, tmp_path, write_sheet):
    path = write_sheet({"notes": "for the mate", "sheet_id": "q1"}, name="in/a.csv")
    before = sorted(tmp_path.rglob("*"))
    words = ("--preview", "--against", way / "curated", "--key-file", way / "key")
    done = run("contribute", path, *words)
    assert done.returncode == 0, done.stderr
    assert sorted(tmp_path.rglob("*")) == before
    assert "mate" not in done.stdout
    assert FIELDS["shop"] not in done.stdout
    assert "other shops with this engine: 12; with a build like it: 12" in done.stdout
    written = run("contribute", path, "--into", tmp_path / "out", "--key-file", way / "key")
    assert written.returncode == 0
    (file,) = (tmp_path / "out" / "accepted").iterdir()
    assert f"=== {file.name}" in done.stdout
    _, fields, table = without_signature(file.read_text()).split("---\n")
    for name, text in yaml.safe_load(fields).items():
        (line,) = re.findall(rf"^{spoken(name)}: (.*)$", done.stdout, re.MULTILINE)
        if FIELDS_OF[name].numeric and isinstance(text, float):
            assert float(re.match(r"[\d.]+", line)[0]) == pytest.approx(text, rel=1e-3)
            assert unit_of(name) in line
        else:
            assert line.split()[0] == str(text).split()[0]
    shown = [line.split() for line in done.stdout.splitlines() if re.match(r" +\d{4} ", line)]
    for row, cells in zip(table.splitlines()[1:], shown, strict=True):
        assert [float(cell) for cell in cells] == pytest.approx(
            [float(cell) for cell in row.split(",")], abs=0.051
        )
    assert "torque, lb-ft" in done.stdout


def test_counts_add_up_and_what_is_no_sheet_is_told(tmp_path, write_sheet):
    for i in range(3):
        write_sheet({"sheet_id": f"s{i}"}, name=f"in/{i}.csv")
    write_sheet({"bore": "99 in"}, name="in/bad.csv")
    (tmp_path / "in" / "scan.pdf").write_bytes(b"%PDF")
    words = ("--into", tmp_path / "out", "--key-file", tmp_path / "key")
    done = run("contribute", tmp_path / "in", *words)
    assert done.returncode == 1
    assert "4 sheets: 3 accepted (3 with warnings), 1 rejected" in done.stdout
    assert "3 new, 0 in place of an earlier version, 0 already there" in done.stdout
    assert "scan.pdf" in done.stderr
    again = run("contribute", tmp_path / "in", *words)
    assert "0 new, 0 in place of an earlier version, 3 already there" in again.stdout
    back = run(
        "unseal", tmp_path / "out", "--into", tmp_path / "back", "--key-file", tmp_path / "key"
    )
    assert back.returncode == 0
    (original,) = (tmp_path / "back").rglob("*.csv")
    assert original.read_bytes() == (tmp_path / "in" / "bad.csv").read_bytes()


def test_a_text_that_moves_the_cursor_does_not_reach_the_terminal(write_sheet):
    path = write_sheet({"sheet_id": '"a\\e[2Jb"'})
    done = run("check", path)
    assert "\x1b" not in done.stdout


def test_the_audit_is_one_command(way, tmp_path):
    done = run("report", "curation", way / "curated", "--out", tmp_path)
    assert done.returncode == 0, done.stderr
    assert "36 sheets of 12 shops" in (tmp_path / "curation.md").read_text()
