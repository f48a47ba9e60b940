"""Every answer of a bundle in one place, for Python and for the command line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from pullbook.model.answers import explain as explaining
from pullbook.model.answers import measured_pull, next_test
from pullbook.model.choices import choose as choosing
from pullbook.model.choices import free_search, vary
from pullbook.model.comparison import compare_several, measured_difference
from pullbook.model.prediction.over_band import answers_at, cut_to_tested
from pullbook.model.prediction.predict import DEFAULT_LEVEL, on_one_dyno, predict
from pullbook.model.range.tested_speeds import DEFAULT_RPM, band_speeds, speeds_of
from pullbook.model.trained import find_starts
from pullbook.model.trained import pulls as reading
from pullbook.model.training import bundle
from pullbook.pipeline.builds import parts_list
from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.builds.read_builds import builds_of, must_be_sound
from pullbook.pipeline.parallel.garbage_collection import uncollected
from pullbook.pipeline.physics.reference_condition import route
from pullbook.schemas.answer import CONDITION

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from pullbook.model.answers.explain import Explanation
    from pullbook.model.answers.measured_pull import Measured
    from pullbook.model.answers.next_test import Lesson
    from pullbook.model.choices.parts_choice import Choice
    from pullbook.model.choices.search_result import Search
    from pullbook.model.choices.variant import Variant
    from pullbook.model.comparison.compare_several import Comparison
    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.pulls import Pull
    from pullbook.model.trained.start import Learned, Start
    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.builds.parts import Goal, PartsList
    from pullbook.pipeline.builds.read_builds import One
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Answer
    from pullbook.schemas.on_request import Load


@dataclass(frozen=True, slots=True)
class Predictor:
    """A model, with the entries of its bundle's manifest.

    Attributes
    ----------
    model
        The model.
    manifest
        Of its bundle: ``id``, ``format``, ``sheets``, ``shops``, whether the data are ``invented``.

    Examples
    --------
    >>> predictor = Predictor.load("bundle")  # doctest: +SKIP
    >>> build = {"cylinders": 8, "bore": "102 mm", "stroke": 3.48}
    >>> predictor.predict(build)[0].peak_torque.height  # doctest: +SKIP

    """

    model: Model
    manifest: dict[str, Any]

    @classmethod
    def load(cls, folder: str | Path) -> Predictor:
        """Return the predictor of a bundle; raise `BundleError` if it does not verify."""
        return cls(*bundle.load(Path(folder)))

    def predictions(
        self,
        builds: Sequence[Build],
        codes: Sequence[str | None] | None = None,
        starts: Sequence[Start | Learned | None] | None = None,
        *,
        alone: bool = False,
    ) -> list[Prediction]:
        """Return the predictions of builds; see `predict.predict`.

        Parameters
        ----------
        builds
            As `read_builds` returns them.
        codes
            Code of the shop that would test each, if it is known.
        starts
            The measured pulls that the answer about each starts from, if any.
        alone
            Whether each build is asked by itself, and what each missing field could move with it.

        """
        return predict(
            self.model,
            typed_builds(builds),
            codes or [None] * len(builds),
            self.manifest,
            starts=starts,
            alone=alone,
        )

    def predict(  # noqa: PLR0913 - what a question may ask for
        self,
        given: One | Iterable[One],
        rpm: Floats | None = None,
        level: float = DEFAULT_LEVEL,
        codes: Sequence[str | None] | None = None,
        measured: str | Path | None = None,
        band: tuple[float, float] | None = None,
        *,
        loads: Sequence[str | Load] = (),
        correction: str = CONDITION,
    ) -> list[Answer]:
        """Return the answer about each build.

        Parameters
        ----------
        given
            One or several builds: as read, or what `read_builds` reads, a file or fields by name.
        rpm, level, band
            Engine speeds, rising; level of the limits; a band to average over as well.
        codes
            Code of the shop that would test each, if it is known.
        measured
            A file or folder of sheets on which engines were measured before parts were changed; a
            build names its own in the field ``measured``.
        loads, correction
            What torque must clear: ``"propeller 150 hp @ 4000"``; the standard that both are at.

        Raises
        ------
        InputError
            A build, a sheet that it names as measured, a load or the standard cannot be used.

        """
        speeds = speeds_of(*DEFAULT_RPM) if rpm is None else rpm
        builds = builds_of(given)
        starts = self.starts(builds, measured)
        found = self.predictions(builds, codes, starts, alone=True)
        with uncollected():
            return answers_at(found, speeds, level, band, loads, correction)

    def starts(
        self,
        builds: Sequence[Build],
        measured: str | Path | None = None,
    ) -> list[Start | Learned | None]:
        """Return the measured pulls that the answers about builds start from.

        Raises
        ------
        InputError
            A sheet that a build names as measured cannot be started from.

        """
        found = [] if measured is None else reading.pulls([Path(measured)])
        starts = find_starts.find_starts(builds, found, self.model)
        must_be_sound(builds)
        return starts

    def compare(
        self,
        found: Sequence[Prediction],
        band: tuple[float, float],
        level: float = DEFAULT_LEVEL,
        rpm: Floats | None = None,
        *,
        one_shop: bool = True,
        beside: Sequence[Prediction] = (),
        builds: tuple[Sequence[Build], Sequence[str | None]] | None = None,
    ) -> Comparison:
        """Return the comparison of the first prediction with each of the others over a band.

        Parameters
        ----------
        found
            Predictions of the builds, from `predictions`; as measured where `as_measured` made
            them so.
        band, level
            Lowest and highest engine speed, rev/min; confidence level of the limits.
        rpm
            Engine speeds of the curves of differences; by default every 250 rpm or closer.
        one_shop
            Whether all would be tested on one shop's dyno.
        beside
            Further builds, which were tested at all speeds that means are over too.
        builds
            Two builds and the codes of their shops, to tell what makes their difference.

        """
        names = [one.sheet_id for one in found]
        speeds = band_speeds(band) if rpm is None else rpm
        over = cut_to_tested([*found, *beside], band)
        made = compare_several.compare(
            names, found, self.model.pairs, over, level, speeds, one_shop
        )
        if builds is None or len(found) != 2 or made.differences[0].alike:
            return made
        both = typed_builds(builds[0]).assign(shop=pd.Series(builds[1], dtype=object))
        first = made.differences[0]
        parts = measured_difference.shares(self.model, both, first.mean.value, over.over, level)
        return replace(made, shares=parts)

    def vary(
        self,
        base: Build,
        ranges: Mapping[str, Sequence[Any]],
        band: tuple[float, float],
        level: float = DEFAULT_LEVEL,
        ties: Mapping[str, float] | None = None,
        code: str | None = None,
        start: Start | Learned | None = None,
    ) -> list[Variant]:
        """Return the variants of a build in one or two fields, each compared with the build.

        Raises
        ------
        VaryError
            A field cannot be varied in this way.

        """
        on_dyno = on_one_dyno(self.model, code, start, self.manifest)
        return vary.vary(base, ranges, ties or {}, on_dyno, self.model.pairs, band, level)

    def search(
        self,
        base: Build,
        free: Sequence[str],
        goal: Goal,
        level: float = DEFAULT_LEVEL,
        code: str | None = None,
        start: Start | Learned | None = None,
    ) -> Search:
        """Return the best build for a goal, as `free_search.search` does."""
        on_dyno = on_one_dyno(self.model, code, start, self.manifest)
        return free_search.search(self.model, base, free, goal, level, on_dyno)

    def choose(
        self,
        parts: str | Path | PartsList,
        low_range: tuple[float, float],
        level: float = DEFAULT_LEVEL,
        code: str | None = None,
        start: Start | Learned | None = None,
    ) -> Choice:
        """Return the combinations of a parts list, ranked by its goal.

        Raises
        ------
        PartsListError, ChooseError
            The list cannot be used, or nothing can be chosen from it.

        """
        wanted = parts_list.read(Path(parts)) if isinstance(parts, str | Path) else parts
        return choosing.choose(self.model, wanted, level, low_range, code, start)

    def next(
        self, candidates: Sequence[Build], questions: Sequence[Build], most: int = 5
    ) -> list[Lesson]:
        """Return which candidates to test next, all at one shop, to narrow the questions most."""
        joint = next_test.joint_covariance(
            self.model, typed_builds(questions), typed_builds(candidates)
        )
        return next_test.choose_candidates(joint, len(questions), most)

    def against(
        self, pull: Pull, level: float = DEFAULT_LEVEL, code: str | None = None
    ) -> Measured:
        """Return the comparison of a pull, as `pulls.pull` reads it, with its prediction.

        Raises
        ------
        MeasureError
            No such build was tested at any speed of the pull.

        """
        (found,) = self.predictions([measured_pull.build_of(pull)], [code])
        factor = route(pull.sheet.values).factor
        return measured_pull.against(found, pull.rpm, pull.torque, level, factor)

    def explain(
        self,
        sheet: Build,
        rpm: Floats,
        level: float = DEFAULT_LEVEL,
        code: str | None = None,
        start: Start | Learned | None = None,
    ) -> Explanation:
        """Return what each group of parts adds to the curve of a build."""
        return explaining.explain(self.model, typed_builds([sheet]), rpm, level, code, start)
