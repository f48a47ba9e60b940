"""All the answers of a bundle in one place, for Python and for the command line alike."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.answers import ask, compare_several, measured_pull, next_test, vary
from pullbook.model.answers import choose as choosing
from pullbook.model.answers import explain as explaining
from pullbook.model.answers.ask import DEFAULT_RPM, Question, speeds_of
from pullbook.model.answers.prediction import predict
from pullbook.model.training import bundle
from pullbook.pipeline.builds import build_files, parts_list
from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.reading import parse_sheet
from pullbook.pipeline.reading.sheet_file import add_field
from pullbook.pipeline.values.sheet import RawSheet
from pullbook.schemas.codes import Severity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.compare_several import Comparison
    from pullbook.model.answers.explain import Explanation
    from pullbook.model.answers.measured_pull import Measured, Pull
    from pullbook.model.answers.next_test import Lesson
    from pullbook.model.answers.parts_choice import Choice
    from pullbook.model.answers.prediction import Prediction
    from pullbook.model.answers.vary import Variant
    from pullbook.model.learning.sample import Floats
    from pullbook.model.training.train_model import Model
    from pullbook.pipeline.values.sheet import Sheet
    from pullbook.schemas.answer import Answer

_STEP = 250.0
#: A sheet so near to a build is of the same build.
_SAME = 1e-6


class BuildError(ValueError):
    """A build that cannot be predicted; the message says which and why."""


@dataclass(frozen=True, slots=True)
class Predictor:
    """A model, and what its bundle tells of itself.

    Attributes
    ----------
    model
        The model.
    told
        ``id``, ``format``, ``sheets``, ``shops`` and whether the data are ``invented``.

    Examples
    --------
    >>> predictor = Predictor.load("bundle")  # doctest: +SKIP
    >>> (build,) = builds({"cylinders": 8, "bore": "102 mm", "stroke": 3.48})
    >>> predictor.predict([build])[0].peak_torque.height  # doctest: +SKIP

    """

    model: Model
    told: dict[str, Any]

    @classmethod
    def load(cls, folder: str | Path) -> Predictor:
        """Return the predictor of a bundle.

        Raises
        ------
        BundleError
            The folder holds no bundle, or one that does not verify.

        """
        return cls(*bundle.load(Path(folder)))

    def predictions(
        self, sheets: Sequence[Sheet], codes: Sequence[str | None] | None = None
    ) -> list[Prediction]:
        """Return what the model says of builds; ``codes`` are those of their shops."""
        return predict(self.model, typed_builds(sheets), codes or [None] * len(sheets))

    def predict(
        self,
        sheets: Sequence[Sheet],
        rpm: Floats | None = None,
        level: float = 0.9,
        codes: Sequence[str | None] | None = None,
    ) -> list[Answer]:
        """Return the answer about each build.

        Parameters
        ----------
        sheets
            The builds, as `builds` gives them.
        rpm
            Engine speeds, rev/min, rising.
        level
            Of the limits.
        codes
            Code of the shop that each comes from, where it is known.

        """
        speeds = speeds_of(*DEFAULT_RPM) if rpm is None else rpm
        named = codes or [None] * len(sheets)
        table = typed_builds(sheets)
        return ask.answers(self.model, self.told, table, named, Question(speeds, level))

    def compare(
        self,
        sheets: Sequence[Sheet],
        band: tuple[float, float],
        level: float = 0.9,
        rpm: Floats | None = None,
        *,
        one_shop: bool = True,
        codes: Sequence[str | None] | None = None,
    ) -> Comparison:
        """Return the first build compared with each of the others over a band of rpm.

        ``codes`` are those of their shops, where they are known.
        """
        found = self.predictions(sheets, codes)
        names = [sheet.sheet_id for sheet in sheets]
        speeds = band_speeds(band) if rpm is None else rpm
        return compare_several.compare(
            names, found, self.model.pairs, band, level, speeds, one_shop
        )

    def vary(
        self,
        base: Sheet,
        ranges: Mapping[str, Sequence[Any]],
        band: tuple[float, float],
        level: float = 0.9,
        ties: Mapping[str, float] | None = None,
    ) -> list[Variant]:
        """Return a build with one or two fields varied, each variant against the build.

        Raises
        ------
        VaryError
            A field cannot be varied so.

        """
        values = vary.combinations(ranges, ties or {}, base.values)
        own, *others = self.predictions([base, *vary.sheets(base, values)])
        return vary.variants(own, others, values, self.model.pairs, band, level, band_speeds(band))

    def choose(
        self, parts: str | Path, low_range: tuple[float, float], level: float = 0.9
    ) -> Choice:
        """Return the combinations of a list of parts, ranked by its goal.

        Raises
        ------
        PartsListError, ChooseError
            The list cannot be used, or nothing can be chosen from it.

        """
        return choosing.choose(self.model, parts_list.read(Path(parts)), level, low_range)

    def next(
        self, candidates: Sequence[Sheet], questions: Sequence[Sheet], most: int = 5
    ) -> list[Lesson]:
        """Return which builds to run next, all at one shop, to learn most of the questions."""
        known = feature_table.make(self.model.fields, self.model.filling)
        asked = feature_table.make(typed_builds([*questions, *candidates]), self.model.filling)
        shop = self.model.reference.shop
        by = np.r_[
            np.full(len(questions), next_test.NOBODY), np.full(len(candidates), shop.max() + 1)
        ]
        joint = next_test.left(self.model.curve.process, known, shop, asked, by)
        return next_test.lessons(joint, len(questions), most)

    def against(self, pull: Pull, level: float = 0.9, code: str | None = None) -> Measured:
        """Return a pull, as `measured_pull.pull` reads it, against its prediction.

        Raises
        ------
        MeasureError
            None of the readings lies where such builds were swept.

        """
        (said,) = self.predictions([pull.sheet], [code])
        return measured_pull.against(said, pull.rpm, pull.torque, level)

    def learned_from(self, pull: Pull, found: Prediction) -> bool:
        """Tell whether the model has learned from this sheet, or from one of the same build."""
        return pull.sheet.sheet_id in self.model.sheet_ids or float(found.distances[0]) < _SAME

    def explain(self, sheet: Sheet, rpm: Floats, level: float = 0.9) -> Explanation:
        """Return what each group of parts adds to the curve of a build."""
        return explaining.explain(self.model, typed_builds([sheet]), rpm, level)


def band_speeds(band: tuple[float, float]) -> Floats:
    """Return engine speeds over a band: every 250 rpm, or eight steps where it is narrow."""
    low, high = band
    return speeds_of(low, high, _STEP if high - low >= 4 * _STEP else (high - low) / 8)


def builds(given: str | Path | Mapping[str, object]) -> list[Sheet]:
    """Return builds: those of a file, or the one whose fields are given.

    What is left out of a build, or read otherwise than written, is a warning.

    Parameters
    ----------
    given
        A ``.yaml`` build, a sheet file or a table; or fields by name, numbers in the units of the
        field dictionary and texts as they would stand on a sheet (``"102 mm"``).

    Raises
    ------
    BuildError
        A build cannot be predicted.
    NothingToReadError
        There is no such file.

    Examples
    --------
    >>> (build,) = builds({"cylinders": 8, "bore": "102 mm", "stroke": 3.48})
    >>> round(build.values["bore"], 3)
    4.016

    """
    raws = [_raw(given)] if not isinstance(given, str | Path) else build_files.builds(Path(given))
    sheets = [check_sheet.judge(parse_sheet.typed(raw), check_sheet.BUILD_RULES) for raw in raws]
    for sheet in sheets:
        fault = next((f for f in sheet.findings if f.severity is Severity.REFUSE), None)
        if fault is not None:
            msg = f"{sheet.sheet_id}: {fault.message}"
            raise BuildError(msg)
        for found in sheet.findings:
            warnings.warn(f"{sheet.sheet_id}: {found.message}", stacklevel=2)
    return sheets


def _raw(fields: Mapping[str, object]) -> RawSheet:
    raw = RawSheet(str(fields.get("sheet_id", "build")), "Python")
    for row, (name, value) in enumerate(fields.items(), start=1):
        text = ("yes" if value else "no") if isinstance(value, bool) else str(value)
        if name != "sheet_id" and value is not None:
            add_field(raw, name, text, row)
    return raw
