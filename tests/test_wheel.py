"""The built wheel holds what it needs, and starts away from the clone."""

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_wheel_starts_without_the_clone(tmp_path):
    source = tmp_path / "source"
    source.mkdir()
    for name in ("schemas", "pipeline", "model", "pullbook"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    build = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation"]
    subprocess.run([*build, "--wheel-dir", tmp_path, source], check=True, capture_output=True)
    (wheel,) = tmp_path.glob("pullbook-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = {name.split("/")[0] for name in archive.namelist()}
        archive.extractall(tmp_path / "site")
    assert {n for n in names if not n.endswith(".dist-info")} == {"pullbook"}
    code = (
        "import sys; sys.path.insert(0, 'site')\n"
        "for tool in ('pytest', 'hypothesis', 'dvc', 'mypy'): sys.modules[tool] = None\n"
        "import pullbook; assert 'site' in pullbook.__file__, pullbook.__file__\n"
        "from pullbook.commands.main import run\n"
        "sys.argv = ['pullbook', 'check', sys.argv[1]]; run()"
    )
    sheet = ROOT / "data" / "examples" / "tern-0001.csv"
    done = subprocess.run(
        [sys.executable, "-c", code, sheet],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "accepted" in done.stdout
