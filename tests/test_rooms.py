"""The house: which room may know which, how large a room may be, and what importing costs."""

import ast
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
#: A module imports from its own row and from rows above it.
ROWS = (
    "schemas",
    "pipeline/storage",
    "pipeline/parallel",
    "pipeline/physics",
    "pipeline/vocabulary",
    "pipeline/values",
    "pipeline/files",
    "pipeline/settings",
    "pipeline/layout",
    "pipeline/reading",
    "pipeline/loads",
    "pipeline/checks",
    "pipeline/builds",
    "pipeline/privacy",
    "pipeline/features",
    "pipeline/curation",
    "pipeline/demo",
    "model/learning",
    "model/range",
    "model/limits",
    "model/trained",
    "model/bundles",
    "model/training",
    "model/prediction",
    "model/comparison",
    "model/choices",
    "model/answers",
    "model/evaluation",
    "model/review",
    "model/scikit_learn",
    "pullbook/words",
    "pullbook/text",
    "pullbook/drawings",
    "pullbook/answer_files",
    "pullbook/charts",
    "pullbook/reports",
    "pullbook/answer_sheets",
    "pullbook",
    "pullbook/tasks",
    "pullbook/guards",
    "pullbook/workspace",
    "pullbook/view_parts",
    "pullbook/views",
    "pullbook/page",
    "pullbook/arguments",
    "pullbook/commands",
)
MOST_MODULES, MOST_LINES = 12, 300
#: What stands beside the rooms and only hands on.
DOORS = {"pipeline/__init__.py", "model/__init__.py", "pullbook/__main__.py"}
MODULES = sorted(
    path
    for row in ROWS
    for path in (ROOT / row).glob("*.py")
    if str(path.relative_to(ROOT)) not in DOORS
)
HOLDERS = {"pipeline", "model"}


def imported(path: Path) -> set[str]:
    """Return the dotted names that a module imports, each member of a package by its own."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def room(dotted: str) -> str | None:
    """Return the row that an imported name of ours stands in.

    >>> room("pullbook.pipeline.physics.humid_air"), room("pullbook.words.units"), room("numpy")
    ('pipeline/physics', 'pullbook/words', None)
    """
    parts = dotted.split(".")
    if parts[0] != "pullbook":
        return None
    if len(parts) > 1 and parts[1] in {"schemas", "pipeline", "model"}:
        parts = parts[1:]
    if parts[0] == "schemas" or len(parts) == 1:
        return parts[0]
    return "/".join(parts[:2])


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_knows_only_its_own_room_and_those_above(path):
    own = ROWS.index(str(path.parent.relative_to(ROOT)))
    known = {room(name) for name in imported(path)} - {None}
    assert known <= set(ROWS[: own + 1])


def test_every_folder_with_code_has_its_row():
    folders = {
        str(path.parent.relative_to(ROOT))
        for top in ("schemas", "pipeline", "model", "pullbook")
        for path in (ROOT / top).rglob("*.py")
    }
    assert folders - HOLDERS == set(ROWS)


@pytest.mark.parametrize("row", ROWS)
def test_a_room_is_not_a_warehouse(row):
    modules = [path for path in (ROOT / row).glob("*.py") if path.stem != "__init__"]
    assert len(modules) <= MOST_MODULES


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_is_read_at_one_sitting(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MOST_LINES


def test_every_room_is_installed():
    setup = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]
    dotted = {row.removeprefix("pullbook/").replace("/", ".") for row in (*ROWS, *HOLDERS)}
    expected = {"pullbook" if name == "pullbook" else f"pullbook.{name}" for name in dotted}
    assert set(setup["setuptools"]["packages"]) == expected


def test_the_demo_and_the_model_share_no_formula():
    for path in (ROOT / "pipeline" / "demo").glob("*.py"):
        shared = {
            name
            for name in imported(path)
            if room(name) == "pipeline/features" or "engine_quantities" in name
        }
        assert not shared, f"{path.name} imports {shared}"


def test_checking_a_sheet_loads_neither_pandas_nor_lightgbm():
    code = (
        "import sys; from pullbook.commands.shop import check\n"
        "try: check([__import__('pathlib').Path('data/examples/tern-0001.csv')])\n"
        "except BaseException as end: assert end.exit_code == 0, end\n"
        "heavy = ('pandas', 'lightgbm', 'matplotlib', 'sklearn', 'openpyxl')\n"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_page_starts_without_pandas_and_lightgbm():
    code = (
        "import sys; import pullbook.page.serve\n"
        "print([m for m in ('pandas', 'scipy', 'lightgbm', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_one_name_is_installed():
    ours = {name for name, by in packages_distributions().items() if "pullbook" in by}
    assert {name for name in ours if not name.startswith("__editable__")} == {"pullbook"}
