"""Train a model: its data, what it starts from, and the model itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pandas as pd

    from pullbook.model.learning.settings import Settings
    from pullbook.model.trained.trained_model import Model
    from pullbook.model.training.hold_out import Track
    from pullbook.model.training.start_from import Start
    from pullbook.pipeline.curation.read_own import OwnReader
    from pullbook.pipeline.parallel.workers import Crew

#: What stands for no start.
NO_START = "none"


def data(
    curated: Path, own: OwnReader | None, say: Callable[[str], None]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return a curated data set, or that of one's own sheets as they are kept.

    Parameters
    ----------
    curated
        The data set, or with ``own`` a folder of sheets.
    own
        Reads a shop's own sheets.
    say
        Is given a line for each sheet that is rejected.

    Raises
    ------
    InputError
        There is no sheet to learn from.

    """
    from pullbook.pipeline.curation import data_set

    if own is None:
        builds, pulls = data_set.load(curated)
    else:
        from pullbook.pipeline.curation.curate import curate

        found = curate([curated], own=own)
        for sheet, message in refusals(found.findings):
            say(f"{sheet}: {message}")
        builds, pulls = found.builds, found.pulls
    if builds.empty:
        msg = f"{curated} holds no sheet to learn from"
        raise InputError(msg)
    return builds, pulls


def refusals(findings: Any) -> list[tuple[str, str]]:
    """Return the sheets that were rejected while curating, and why."""
    from pullbook.pipeline.privacy.refused_sheets import FINDINGS_FILE

    earlier = findings["source"].str.endswith(FINDINGS_FILE)
    refused = findings[(findings["severity"] == "refuse") & ~earlier]
    return list(zip(refused["sheet_id"], refused["message"], strict=True))


def start_of(
    named: str, builds: pd.DataFrame, *, private: bool, say: Callable[[str], None]
) -> Model | None:
    """Return the model to start from; ``None`` for none, and for the data of many shops.

    Raises
    ------
    InputError
        It cannot be started from.

    """
    from pathlib import Path

    import pullbook
    from pullbook.pipeline.builds.engine_groups import MOST_SHOPS

    if builds["shop"].nunique() > MOST_SHOPS:
        if named not in {"", NO_START}:
            say(
                f"--start counts for the data of up to {MOST_SHOPS} shops; this data starts from"
                " nothing."
            )
        return None
    if named == NO_START:
        return None
    predictor = pullbook.load(Path(named) if named else None)
    if predictor.manifest["private"] and not private:
        msg = (
            f"{named} holds sheets in clear, and a bundle of contributed sheets may be passed on;"
            " start from another bundle, or from none"
        )
        raise InputError(msg)
    return predictor.model


def train(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    settings: Settings,
    other: Model | None,
    crew: Crew,
    track: Track,
    features: Path | None = None,
) -> tuple[Model, Start | None]:
    """Return a model of a data set, and what it started from.

    Parameters
    ----------
    builds, pulls
        Curated tables.
    settings
        Settings of the training run.
    other
        The model to start from, from `start_of`.
    crew, track
        What works on held-out parts, and what shows progress.
    features
        Features of the data set that were made before, if any.

    """
    from pullbook.model.training import train_model
    from pullbook.model.training.start_from import start_from
    from pullbook.pipeline.features import feature_table

    begin = None if other is None else start_from(other, builds, pulls)
    if features is not None:
        made = feature_table.load(features, builds)
    elif begin is None:
        made = feature_table.fit(builds)
    else:
        made = feature_table.filled(builds, begin.filling)
    return train_model.train(builds, pulls, made, settings, track, crew, begin), begin
