"""What many tests share: a valid sheet to break, and one trained demo."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pytest
from valid_sheet import sheet_text

from pullbook.model.learning.settings import Settings
from pullbook.model.training import bundle, train_model
from pullbook.pipeline.curation import curate
from pullbook.pipeline.demo import sheets
from pullbook.pipeline.demo.shops import Made
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.privacy import contribute


@pytest.fixture
def write_sheet(tmp_path: Path):
    """Return a function that writes a sheet file, valid but for what is changed."""

    def write(fields=None, pull=None, name: str = "sheet.csv") -> Path:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(sheet_text(fields, pull), encoding="utf-8")
        return path

    return write


@dataclass
class Demo:
    """The demo's sheets on their whole way, made once for all tests."""

    made: list[Made]
    folder: Path
    key: bytes
    builds: pd.DataFrame
    pulls: pd.DataFrame
    model: train_model.Model
    bundle: Path


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> Demo:
    """Return the demo, trained."""
    folder = tmp_path_factory.mktemp("demo")
    made = sheets.make(folder / "sheets")
    key = b"a key for the tests alone"
    contribute.contribute([folder / "sheets"], folder / "shared", key)
    found = curate.curate([folder / "shared"])
    found.write(folder / "curated")
    features = feature_table.fit(found.builds)
    model = train_model.train(found.builds, found.pulls, features, Settings())
    bundle.save(model, folder / "bundle")
    return Demo(made, folder, key, found.builds, found.pulls, model, folder / "bundle")


@pytest.fixture(autouse=True, scope="session")
def own_cache(tmp_path_factory):
    """Keep what commands cache away from the user's own, also in processes of their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield
