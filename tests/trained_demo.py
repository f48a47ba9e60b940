"""The demo's sheets on their whole way to a trained model, made once a run for all tests."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.model.learning.settings import Settings
from pullbook.model.training import bundle, train_model
from pullbook.pipeline.curation import curate
from pullbook.pipeline.demo import sheets
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.privacy import contribute

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from pullbook.pipeline.demo.dyno_pulls import Made


@dataclass
class Demo:
    """What each step of the way gave."""

    made: list[Made]
    folder: Path
    key: bytes
    builds: pd.DataFrame
    pulls: pd.DataFrame
    model: train_model.Model
    bundle: Path


def make(folder: Path) -> Demo:
    """Go the whole way in a folder."""
    made = sheets.make(folder / "sheets")
    key = b"a key for the tests alone, long enough"
    contribute.contribute([folder / "sheets"], folder / "shared", key)
    found = curate.curate([folder / "shared"])
    found.write(folder / "curated")
    features = feature_table.fit(found.builds)
    model = train_model.train(found.builds, found.pulls, features, Settings(folds=5, withheld=1))
    bundle.save(model, folder / "bundle")
    return Demo(made, folder, key, found.builds, found.pulls, model, folder / "bundle")
