"""Dependencies point one way, and importing a package does nothing."""

import ast
import subprocess
import sys
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ALLOWED = {
    "schemas": set(),
    "pipeline": {"schemas"},
    "model": {"schemas", "pipeline"},
    "pullbook": {"schemas", "pipeline", "model"},
}
MODULES = sorted(p for package in ALLOWED for p in (ROOT / package).rglob("*.py"))


def imported(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return names


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_package_knows_only_those_below_it(path):
    package = path.relative_to(ROOT).parts[0]
    ours = {name.split(".")[0] for name in imported(path)} & set(ALLOWED)
    assert ours <= ALLOWED[package] | {package}


def test_the_demo_and_the_model_share_no_formula():
    for path in (ROOT / "pipeline" / "demo").glob("*.py"):
        shared = imported(path) & {"pipeline.engine", "pipeline.features", "pipeline.filling"}
        assert not shared, f"{path.name} imports {shared}"


def test_checking_a_sheet_loads_neither_pandas_nor_lightgbm():
    code = (
        "import sys; from pullbook.shop import check\n"
        "try: check([__import__('pathlib').Path('data/examples/tern-0001.csv')])\n"
        "except BaseException as end: assert end.exit_code == 0, end\n"
        "print([m for m in ('pandas', 'lightgbm', 'matplotlib', 'sklearn') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_installed_names_are_ours_alone():
    for name in ALLOWED:
        assert set(packages_distributions()[name]) == {"pullbook"}
