"""The sides of a comparison: as measured or as predicted, and made comparable if asked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pullbook.model.prediction.as_measured import as_measured
from pullbook.pipeline.builds import same_parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.comparison.compare_several import Comparison
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.pulls import Pull
    from pullbook.model.trained.start import Learned, Start
    from pullbook.pipeline.values.sheet import Build


@dataclass(frozen=True, slots=True)
class Sides:
    """Builds to compare: as measured where they have a pull, else as predicted.

    Attributes
    ----------
    builds, codes
        The builds, made comparable if that was asked, and the codes of their shops.
    found
        Their predictions.
    before, builds_before
        Those before they were made comparable; empty if that was not asked.
    same
        The groups or fields that all have from the first.
    """

    builds: list[Build]
    codes: list[str | None]
    found: list[Prediction]
    builds_before: list[Build]
    before: list[Prediction]
    same: tuple[str, ...]

    def compare(
        self, predictor: Predictor, band: tuple[float, float], level: float, *, one_shop: bool
    ) -> Comparison:
        """Return the comparison, as `Predictor.compare` does, with what it was before."""
        builds = (self.builds, self.codes)
        made = predictor.compare(
            self.found, band, level, one_shop=one_shop, beside=self.before, builds=builds
        )
        if not self.before:
            return made
        builds = (self.builds_before, self.codes)
        first = predictor.compare(
            self.before, band, level, one_shop=one_shop, beside=self.found, builds=builds
        )
        return replace(made, shares=first.shares, before=first.differences[0], same=self.same)


def sides(
    predictor: Predictor,
    builds: Sequence[Build],
    codes: Sequence[str | None],
    starts: Sequence[Start | Learned | None],
    pulls: Sequence[Pull | None],
    same: Sequence[str] = (),
) -> Sides:
    """Return builds to compare.

    Parameters
    ----------
    predictor
        What predicts.
    builds, codes, starts
        As for `Predictor.predictions`.
    pulls
        The pull that each build is compared by as measured, or ``None``.
    same
        Groups of parts, or fields, that all are given from the first; such a build is no longer as
        it was measured, but predicted from its pull.

    Raises
    ------
    SamePartsError
        A name is neither a group nor a field.

    """

    def predicted(of: Sequence[Build]) -> list[Prediction]:
        found = predictor.predictions(of, codes, starts)
        return [
            one if pull is None or (one.measured is not None and one.measured.changed)
            else as_measured(one, pull)
            for one, pull in zip(found, pulls, strict=True)
        ]  # fmt: skip

    before = predicted(builds)
    if not same:
        return Sides([*builds], [*codes], before, [], [], ())
    alike = same_parts.with_same(builds, same)
    return Sides(alike, [*codes], predicted(alike), [*builds], before, tuple(same))
