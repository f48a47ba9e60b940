"""The sheets of an invented circle, contributed and curated as those of any circle are."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from pullbook.model.learning.settings import Settings
from pullbook.model.training.train_model import train
from pullbook.pipeline.curation import curate
from pullbook.pipeline.demo import sheets
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.privacy import contribute

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.demo.dyno_pulls import Made
    from pullbook.pipeline.demo.shops import Circle


class Data(NamedTuple):
    """A curated data set, and the invented sheets it was made of."""

    builds: pd.DataFrame
    pulls: pd.DataFrame
    made: dict[str, Made]

    def part(self, keep: np.ndarray) -> Data:
        """Return some of the sheets."""
        builds = self.builds[keep].reset_index(drop=True)
        return Data(builds, self.pulls[self.pulls["sheet_id"].isin(builds["sheet_id"])], self.made)

    def train(self) -> Model:
        """Return the model that these sheets give."""
        features = feature_table.fit(self.builds)
        return train(self.builds, self.pulls, features, Settings())

    def pulls_by_sheet(self) -> dict[str, pd.DataFrame]:
        """Return the readings of each sheet."""
        return {str(name): own for name, own in self.pulls.groupby("sheet_id", sort=False)}


def curated(circle: Circle) -> Data:
    """Return a circle's sheets, contributed and curated."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made = sheets.make(folder / "sheets", circle)
        contribute.contribute([folder / "sheets"], folder / "shared", b"a key for benchmarks alone")
        found = curate.curate([folder / "shared"])
    return Data(found.builds, found.pulls, {m.sheet_id: m for m in made})


def some_of(values: pd.Series, one_in: int, rng: np.random.Generator) -> np.ndarray:
    """Return the rows of one in so many of the different values, drawn at random."""
    different = values.dropna().unique()
    drawn = rng.choice(different, size=max(1, len(different) // one_in), replace=False)
    return values.isin(drawn).to_numpy()
