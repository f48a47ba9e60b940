"""The examples of the installed modules are right, and each that is written is run."""

import doctest
import importlib
import pkgutil
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"][
    "setuptools"
]["packages"]


def modules():
    """Return the names of all modules that are installed; `__main__` runs when it is imported."""
    for name in PACKAGES:
        yield name
        for found in pkgutil.iter_modules(importlib.import_module(name).__path__, f"{name}."):
            if not found.ispkg and not found.name.endswith("__main__"):
                yield found.name


MODULES = sorted(modules())


@pytest.mark.parametrize("name", MODULES)
def test_every_example_of_a_module_is_right(name):
    module = importlib.import_module(name)
    text = Path(module.__file__).read_text(encoding="utf-8")
    found = doctest.testmod(module, report=True)
    assert found.failed == 0
    assert found.attempted == text.count(">>> ") - text.count("# doctest: +SKIP")


def test_the_modules_are_those_of_the_clone():
    """Not fewer, as where a folder is not a package; and no second copy under another name."""
    places = {Path(importlib.import_module(name).__file__).resolve() for name in MODULES}
    inside = {
        path
        for top in ("schemas", "pipeline", "model", "pullbook")
        for path in (ROOT / top).rglob("*.py")
        if path.name != "__main__.py"
    }
    assert places == inside
