"""The tutorial runs as it stands."""

import re
import shutil
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_every_block_of_the_tutorial_runs(demo, tmp_path, monkeypatch, capsys):
    shutil.copytree(demo.bundle, tmp_path / "bundle")
    monkeypatch.chdir(tmp_path)
    text = (ROOT / "TUTORIAL.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```python\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)
    assert len(blocks) >= 8
    place = {"__name__": "tutorial"}
    for number, block in enumerate(blocks, start=1):
        exec(compile(block, f"TUTORIAL.md, block {number}", "exec"), place)  # noqa: S102 - ours
    assert "lb-ft" in capsys.readouterr().out
