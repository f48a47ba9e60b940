"""The first command of the README does what it says."""

import re

import pytest
from command_line import run


@pytest.mark.slow
def test_the_demo_goes_the_whole_way_and_answers_a_question(tmp_path):
    done = run("demo", "--into", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    steps = re.findall(r"^(\d)\. ", done.stdout, re.MULTILINE)
    assert steps == ["1", "2", "3", "4", "5"]
    assert "lb-ft" in done.stdout
    assert "invented" in done.stdout.splitlines()[0]
    named = re.findall(r"^  (\S+/out/\S+) ", done.stdout, re.MULTILINE)
    out = tmp_path / "out"
    hidden = (".", "contributor.key")  # locks, and the key
    written = {str(path) for path in out.iterdir() if not path.name.startswith(hidden)}
    assert set(named) == written
    assert (out / "contributor.key").is_file()
    words = done.stdout.splitlines()[-1].partition(": pullbook ")[2].split()
    again = run(*words)
    assert again.returncode == 0, again.stderr
