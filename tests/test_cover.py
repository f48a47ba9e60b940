"""The share of code that tests go through: lines and branches are held each to its own least."""

import importlib.util
import json
from pathlib import Path

import pytest

_FOUND = importlib.util.spec_from_file_location(
    "cover", Path(__file__).parents[1] / ".ci" / "cover.py"
)
cover = importlib.util.module_from_spec(_FOUND)
_FOUND.loader.exec_module(cover)


def report(folder, lines, branches):
    totals = {
        "covered_lines": lines, "num_statements": 200,
        "covered_branches": branches, "num_branches": 50,
    }  # fmt: skip
    path = folder / "coverage.json"
    path.write_text(json.dumps({"totals": totals}))
    return path


@pytest.mark.parametrize(
    ("lines", "branches", "enough"),
    [(180, 40, True), (200, 50, True), (179, 50, False), (200, 39, False)],
)
def test_each_share_has_its_own_least(tmp_path, monkeypatch, capsys, lines, branches, enough):
    monkeypatch.setattr("sys.argv", ["cover.py", str(report(tmp_path, lines, branches))])
    if enough:
        cover.main()
    else:
        with pytest.raises(SystemExit, match="too little"):
            cover.main()
    shown = capsys.readouterr().out
    assert f"{lines / 2:.1f} %" in shown
    assert f"{2 * branches:.1f} %" in shown
