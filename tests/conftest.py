"""What many tests share: a valid sheet to break, one trained demo, and what is made once a run."""

from __future__ import annotations

import os
import pickle
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TypeVar

import one_thread  # noqa: F401 - before what would start threads
import pytest
import trained_demo
from filelock import FileLock
from valid_sheet import sheet_text

if TYPE_CHECKING:
    from collections.abc import Callable

Made = TypeVar("Made")


#: What takes longest starts first, so that nobody waits for it at the end.
LONG = ("test_judge", "test_promise", "test_cluster", "test_decisions")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Start with modules that need the demo: while one process makes it, another has the rest."""
    need = {item.path for item in items if "demo" in getattr(item, "fixturenames", ())}
    items.sort(key=lambda item: (item.path not in need, item.path.stem not in LONG))


class Once(Protocol):
    """Makes what takes long once a run, whichever of the test processes asks for it."""

    def __call__(self, name: str, make: Callable[[Path], Made]) -> Made:
        """Return what ``make`` makes of a folder of its own; the others read it from the disk."""


@pytest.fixture(scope="session")
def once(tmp_path_factory) -> Once:
    """Return what makes a thing once a run; the next run makes it anew."""
    own = tmp_path_factory.getbasetemp()
    shared = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "once"
    shared.mkdir(exist_ok=True)

    def made(name, make):
        kept = shared / f"{name}.pickle"
        with FileLock(shared / f"{name}.lock"):
            if not kept.exists():
                new = make(Path(tempfile.mkdtemp(prefix=f"{name}-", dir=shared)))
                kept.with_suffix(".part").write_bytes(pickle.dumps(new))
                kept.with_suffix(".part").replace(kept)
        return pickle.loads(kept.read_bytes())  # noqa: S301 - our own, made above

    return made


@pytest.fixture
def write_sheet(tmp_path: Path):
    """Return a function that writes a sheet file, valid but for what is changed."""

    def write(fields=None, pull=None, name: str = "sheet.csv") -> Path:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(sheet_text(fields, pull), encoding="utf-8")
        return path

    return write


@pytest.fixture(scope="session")
def demo(once) -> trained_demo.Demo:
    """Return the demo, trained."""
    return once("demo", trained_demo.make)


@pytest.fixture
def demo_key(demo, tmp_path):
    """Return a file with the demo's key, that only its owner can read."""
    path = tmp_path / "demo.key"
    path.write_bytes(demo.key)
    path.chmod(0o600)
    return path


@pytest.fixture(autouse=True, scope="session")
def own_cache(tmp_path_factory):
    """Keep what commands cache and remember away from the user's own, in any process."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        yield
