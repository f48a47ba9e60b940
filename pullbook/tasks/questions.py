"""Builds as questions: the shop that would test each, and the pull that its answer starts from."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.pulls import Pull
    from pullbook.model.trained.start import Learned, Start
    from pullbook.pipeline.values.sheet import Build

    Key = Callable[[], bytes | None]


class Asked(NamedTuple):
    """Builds, the code of the shop that would test each, and the pulls that each starts from."""

    builds: list[Build]
    codes: list[str | None]
    starts: list[Start | Learned | None]


def ask(
    builds: Sequence[Build],
    predictor: Predictor,
    pulls: Sequence[Pull],
    key: Key,
    shop: str | None = None,
    own: Sequence[Pull | None] | None = None,
) -> Asked:
    """Return builds with the shops that would test them, and the pulls that they start from.

    Parameters
    ----------
    builds
        The builds; the field ``shop`` of each counts where ``shop`` is ``None``.
    predictor
        What will answer. A model of one's own sheets knows shops and engines by their names.
    pulls
        Measured pulls to start from.
    key
        Returns the key the shop contributed with, or ``None``; called only where it is needed.
    shop
        The shop that all would be tested by.
    own
        The pull that came with each build, if any.

    """
    from pullbook.model.trained import find_starts

    starts = find_starts.find_starts(builds, pulls, predictor.model, shop, own)
    names: list[object] = [shop or build.values.get("shop") for build in builds]
    if predictor.manifest["private"]:
        from pullbook.pipeline.curation.read_own import local_code

        names = [
            name or find_starts.measured_by(start)
            for name, start in zip(names, starts, strict=True)
        ]
        codes = [local_code(name) if isinstance(name, str) else None for name in names]
        return Asked(list(builds), codes, starts)
    once = cache(key)  # whoever has none is told so once
    coded = [_coded(build, name, once) for build, name in zip(builds, names, strict=True)]
    return Asked([one for one, _ in coded], [code for _, code in coded], starts)


def _coded(build: Build, shop: object, key: Key) -> tuple[Build, str | None]:
    """Return a build whose engine goes by the code that its shop contributed it under."""
    from pullbook.pipeline.privacy import anonymise

    if not isinstance(shop, str) or (own := key()) is None:
        return build, None
    code = anonymise.code(own, shop)
    engine = build.values.get("engine")
    if not isinstance(engine, str):
        return build, code
    values = {**build.given, "engine": anonymise.engine_code(own, shop, engine)}
    return replace(build, values=values, derived=frozenset()), code


def predictions(asked: Asked, predictor: Predictor) -> list[Prediction | None]:
    """Return the prediction of every build, ``None`` for one that cannot be predicted."""
    sound = [at for at, build in enumerate(asked.builds) if build.accepted]
    found: list[Prediction | None] = [None] * len(asked.builds)
    if sound:
        made = predictor.predictions(
            [asked.builds[at] for at in sound],
            [asked.codes[at] for at in sound],
            [asked.starts[at] for at in sound],
            alone=True,
        )
        for at, one in zip(sound, made, strict=True):
            found[at] = one
    return found


def must_be_sound(asked: Asked) -> Asked:
    """Return builds asked about, if all of them can be predicted.

    Raises
    ------
    InputError
        One cannot, since the sheet that it names as measured cannot be started from.

    """
    for build in asked.builds:
        if build.fault is not None:
            raise InputError(build.fault.message)
    return asked
