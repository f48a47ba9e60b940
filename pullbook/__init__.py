"""pullbook predicts the torque curve of an engine combination from the dyno sheets of others.

>>> import pullbook
>>> predictor = pullbook.load()  # the model of invented engines that comes along
>>> (answer,) = predictor.predict({"cylinders": 8, "bore": "102 mm", "stroke": 3.48})
>>> answer.peak_torque.height.low < answer.peak_torque.height.value
True

Torque is in lb-ft at the flywheel under SAE J1349, power in hp, speeds in rev/min, sizes in inches.
Importing this loads nothing heavy; what a function needs is loaded when it is called.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.schemas.errors import InputError, PullbookError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.comparison.compare_several import Comparison
    from pullbook.model.learning.sample import Floats
    from pullbook.model.scikit_learn.curve_regressor import CurveRegressor
    from pullbook.pipeline.builds.read_builds import One
    from pullbook.pipeline.values.sheet import Build, Sheet
    from pullbook.schemas.answer import Answer

    Asked = One | Iterable[One]

__all__ = [
    "CurveRegressor",
    "InputError",
    "Predictor",
    "PullbookError",
    "compare",
    "load",
    "predict",
    "read_builds",
    "read_sheets",
]

_CLASSES = {
    "CurveRegressor": "pullbook.model.scikit_learn.curve_regressor",
    "Predictor": "pullbook.model.answers.predictor",
}


def load(bundle: str | Path | None = None, trust: str | Path | None = None) -> Predictor:
    """Return what answers questions from a bundle.

    Parameters
    ----------
    bundle
        A folder that ``pullbook train`` wrote, or one that ``pullbook promote`` keeps; without it,
        the model of invented engines that comes along.
    trust
        A file of keys, of which one must have signed the bundle; without it, any bundle is taken
        that verifies.

    Raises
    ------
    InputError
        The folder holds no bundle, or one that does not verify, or that nobody trusted signed.

    """
    from importlib.resources import as_file, files
    from pathlib import Path

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.bundles import bundle_signature
    from pullbook.model.review import promotion_record
    from pullbook.model.training import bundle as bundles

    trusted = None if trust is None else bundle_signature.trusted_keys(Path(trust))
    if bundle is not None:
        return Predictor(*bundles.load(promotion_record.current(Path(bundle)), trusted))
    with as_file(files("pullbook") / "invented") as folder:
        return Predictor(*bundles.load(folder, trusted))


def predict(
    asked: Asked,
    bundle: str | Path | None = None,
    rpm: Floats | None = None,
    level: float = 0.9,
) -> list[Answer]:
    """Predict torque and power of builds, with error bars.

    Parameters
    ----------
    asked
        A file of builds, the fields of one by name, what `read_builds` returned, or a list of such.
    bundle
        As for `load`.
    rpm
        Engine speeds, rev/min, rising, shape (speeds,); without, 2000 to 6500 every 250.
    level
        Of the limits: about this share of measured values falls inside.

    Returns
    -------
    An answer a build, in their order: torque in lb-ft and power in hp, under SAE J1349.

    Raises
    ------
    InputError
        A build or the bundle cannot be used; the message says which and why.

    """
    return load(bundle).predict(asked, rpm, level)


def compare(
    *asked: Asked,
    bundle: str | Path | None = None,
    band: tuple[float, float] = (2500.0, 4500.0),
    level: float = 0.9,
    one_shop: bool = True,
) -> Comparison:
    """Compare the first of two to four builds with each of the others over a band of speeds.

    Parameters
    ----------
    asked
        The builds, each as for `predict`; one that names a sheet as ``measured`` starts from it.
    bundle
        As for `load`.
    band
        Lowest and highest engine speed, rev/min.
    level
        Of the limits of a difference.
    one_shop
        Whether all would be tested on one shop's dyno; two dynos widen the limits.

    Returns
    -------
    Differences in lb-ft, the first minus each other, with limits of their own, and the chance of
    each to make the most.

    Raises
    ------
    InputError
        A build or the bundle cannot be used; the message says which and why.

    """
    from pullbook.pipeline.builds.read_builds import builds_of

    predictor = load(bundle)
    builds = [build for one in asked for build in builds_of(one)]
    found = predictor.predictions(builds, starts=predictor.starts(builds))
    return predictor.compare(found, band, level, one_shop=one_shop)


def read_builds(given: str | Path | Mapping[str, object]) -> list[Build]:
    """Read builds: those of a file, or the one whose fields are given by name.

    Raises
    ------
    InputError
        There is no such file, or a build cannot be predicted.

    """
    from pullbook.pipeline.builds import read_builds as reading

    return reading.read_builds(given)


def read_sheets(*paths: str | Path, settings: str | Path | None = None) -> list[Sheet]:
    """Read dyno sheets and check them; what is wrong or doubtful is in ``findings`` of each.

    Parameters
    ----------
    paths
        Sheet files, folders of them, folders with ``builds.csv`` and ``pulls.csv``, and workbooks.
    settings
        The shop's settings file, as ``pullbook settings`` writes it; by default the file
        ``pullbook.yaml`` in the folder of the sheets, if there is one.

    Raises
    ------
    InputError
        A path does not exist, or holds no sheets.

    """
    from pathlib import Path

    from pullbook.pipeline.checks import check_sheet, checked_sheets
    from pullbook.pipeline.settings import shop_settings

    own = None if settings is None else shop_settings.load(Path(settings))
    return checked_sheets.read(map(Path, paths), check_sheet.SHEET_RULES, own).sheets


def __getattr__(name: str) -> Any:
    """Return a class of `__all__`, loaded when it is asked for."""
    if name not in _CLASSES:
        msg = f"module 'pullbook' has no attribute {name!r}"
        raise AttributeError(msg)
    from importlib import import_module

    return getattr(import_module(_CLASSES[name]), name)
