"""Predicting: from builds to the prediction of each."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.learning import effect_points
from pullbook.model.learning.effect_points import Ahead
from pullbook.model.learning.sample import charge
from pullbook.model.limits import expected_error
from pullbook.model.limits.calibration import NEW_FAMILY
from pullbook.model.limits.pair_kinds import CHANGED
from pullbook.model.prediction import missing_fields
from pullbook.model.prediction.one_engine import OneEngine
from pullbook.model.prediction.prediction import Prediction
from pullbook.model.range import inside_or_outside, novelty
from pullbook.model.range.tested_speeds import NEAREST
from pullbook.model.trained.build_curves import possible
from pullbook.model.trained.engines import Engines
from pullbook.model.trained.known_sheets import features_of, start_curves
from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.parallel.garbage_collection import uncollected
from pullbook.schemas.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.one_engine import Parts
    from pullbook.model.trained.engines import Ready
    from pullbook.model.trained.start import Learned, Start
    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import FromMeasured
    from pullbook.schemas.standing import Reason

DEFAULT_LEVEL = 0.9
#: With more builds at once, the effect of missing fields is not worked out.
MOST_LOOKED_INTO = 20
#: Smallest and largest factor by which the limits of a build outside the data are widened.
_LEAST_WIDER, _MOST_WIDER = 1.5, 4.0
_SIZES = ("displacement", "cylinder_displacement")


def predict(
    model: Model,
    builds: pd.DataFrame,
    shops: Sequence[str | None],
    manifest: Mapping[str, Any] | None = None,
    *,
    starts: Sequence[Start | Learned | None] | None = None,
    alone: bool = False,
    engine: OneEngine | None = None,
) -> list[Prediction]:
    """Return the predictions of builds, in their order.

    Parameters
    ----------
    model
        The model.
    builds
        Typed builds, as `build_table.typed_builds` returns them.
    shops
        The code of the shop that would test each build, or ``None``.
    manifest
        The entries of the bundle's manifest.
    starts
        The measured pulls that the answer about each build starts from, or ``None``.
    alone
        Whether each build is asked by itself: what the others give then does not count, and for at
        most `MOST_LOOKED_INTO` builds it is worked out how far each missing field could move the
        curve.
    engine
        The engine that all builds are of, if they are asked about as one; else a build that starts
        from a measured pull is predicted without it as well.

    """
    entries = manifest or {}
    with uncollected():
        asked = _Asked(model, builds, shops, starts, alone=alone)
        found = asked.predictions(entries, engine)
        again = [at for at, one in enumerate(found) if one.measured is not None]
        if not again or engine is not None:
            return found
        unnamed = builds.iloc[again].assign(engine=None)
        without = _Asked(model, unnamed, [shops[at] for at in again], None).predictions(entries)
        for at, one in zip(again, without, strict=True):
            found[at] = replace(found[at], without=one)
    return found


def on_one_dyno(
    model: Model,
    code: str | None,
    start: Start | Learned | None,
    manifest: Mapping[str, Any] | None = None,
) -> Callable[[Sequence[Build]], list[Prediction]]:
    """Return what predicts builds of one engine, which one shop would test.

    All start from the same measured pulls, if there are any. Else what is asked first says which
    engine it is.
    """
    engine = OneEngine(model)

    def found(builds: Sequence[Build]) -> list[Prediction]:
        shops, starts = [code] * len(builds), [start] * len(builds)
        return predict(model, typed_builds(builds), shops, manifest, starts=starts, engine=engine)

    return found


class _Asked:
    """Builds that are asked about, on their way to predictions."""

    def __init__(
        self,
        model: Model,
        builds: pd.DataFrame,
        shops: Sequence[str | None],
        starts: Sequence[Start | Learned | None] | None,
        *,
        alone: bool = False,
    ) -> None:
        self._alone = alone
        codes = list(shops)
        if model.own_dyno and len(model.shop_codes) == 1:
            codes = [code or model.shop_codes[0] for code in codes]
        self._model, self._codes = model, codes
        self._starts = starts or [None] * len(builds)
        self._builds = builds.assign(
            shop=pd.Series(codes, builds.index, dtype=builds["shop"].dtype)
        )

    def predictions(
        self, manifest: Mapping[str, Any], engine: OneEngine | None = None
    ) -> list[Prediction]:
        """Return the prediction of each build."""
        model = self._model
        builds, ready = self._ready_where_needed()
        known = [one.known for one in ready] if ready else [None] * len(builds)
        table = features_of(model, builds, known)
        start = start_curves(model, table)
        distances, positions = model.reference.nearest(table, NEAREST)
        distance = novelty.mean_distance(distances)
        if model.start_reference is not None:
            beside, _ = model.start_reference.nearest(table, NEAREST)
            share = novelty.mean_distance(beside) / model.start_reference.outside
            distance = np.minimum(distance, share * model.reference.outside)
        effects = self._from_effects(ready, table, start)
        parts: list[Parts | None] = [None] * len(builds)
        if CHANGED in model.pairs and engine is not None and all(one.told is None for one in ready):
            parts = [*engine.with_parts(builds, table, start)]
        spreads = (
            expected_error.expected(model.spread, model.speeds, table, distance)
            if model.spread is not None
            else np.zeros_like(start)
        )
        charges = charge(table).tolist()
        places = model.reference.places_of(table)
        reasons = self._reasons(builds, table, distance, ready)
        families = self._families(builds)
        names = builds["sheet_id"].astype(str).tolist()
        swings = missing_fields.not_given(builds)
        each: list[Ready | None] = [*ready] if ready else [None] * len(builds)
        if self._alone and len(builds) <= MOST_LOOKED_INTO:
            swings = [
                missing_fields.swings(model, builds.iloc[[i]], positions[i], one)
                for i, one in enumerate(each)
            ]
        found = []
        for i, of_build in enumerate(reasons):
            code = self._codes[i]
            shop = model.shop_codes.index(code) if code in model.shop_codes else None
            standing = inside_or_outside.standing(of_build)
            outside = standing is Standing.OUTSIDE
            widened = _widened(model, float(distance[i])) if outside else 1.0
            told = ready[i].told if ready else None
            name = self._regime(shop, told)
            log_torque, spread, ahead, row = start[i], spreads[i], None, 0
            if i in effects:
                log_torque, spread, ahead, row = effects[i]
            elif shop is not None:
                log_torque = log_torque + model.shop_offsets[shop]
            found.append(
                Prediction(
                    sheet_id=names[i],
                    speeds=model.speeds,
                    log_torque=possible(log_torque),
                    spread=spread * widened,
                    size=charges[i],
                    regime_name=name,
                    regime=model.regimes.get(name),
                    cautious=None
                    if families[i] == "known"
                    else model.regimes.get(f"{name}{NEW_FAMILY}"),
                    family=families[i],
                    measured=told,
                    without=None,
                    ahead=ahead,
                    row=row,
                    parts=parts[i],
                    sweeps=model.sweeps[positions[i]],
                    nearest=positions[i],
                    near_names=tuple(model.sheet_ids[position] for position in positions[i]),
                    distances=distances[i],
                    reasons=of_build,
                    standing=standing,
                    widened=widened,
                    place=places[i],
                    swings=tuple(swings[i]),
                    bundle=manifest,
                )
            )
        return found

    def _ready_where_needed(self) -> tuple[pd.DataFrame, list[Ready]]:
        """Return builds and what is known of engines, if any answer comes from effects."""
        needed = self._model.own_dyno or any(one is not None for one in self._starts)
        known = set(self._model.fields["engine"].dropna())
        if needed or any(name in known for name in self._builds["engine"].dropna()):
            return Engines(self._model).ready(self._builds, self._starts, alone=self._alone)
        return self._builds, []

    def _from_effects(
        self, ready: Sequence[Ready], table: pd.DataFrame, start: Floats
    ) -> dict[int, tuple[Floats, Floats, Ahead, int]]:
        """Return curve, spread and place of builds whose answers come from effects."""
        model = self._model
        groups: dict[int, list[int]] = {}
        for at, one in enumerate(ready):
            if model.own_dyno or one.told is not None:
                groups.setdefault(id(one.process), []).append(at)
        found = {}
        for rows in groups.values():
            process = ready[rows[0]].process
            places = process.inputs.places(table.iloc[rows])
            labels = np.array([ready[at].labels for at in rows])
            ahead = Ahead(process, places, labels, start[rows], model.speeds)
            for row, parts in enumerate(zip(rows, ahead.curves(), ahead.spread(), strict=True)):
                found[parts[0]] = (parts[1], parts[2], ahead, row)
        return found

    def _reasons(
        self, builds: pd.DataFrame, table: pd.DataFrame, distance: Floats, ready: Sequence[Ready]
    ) -> list[list[Reason]]:
        """Return why builds are not inside the data.

        Of an engine that was measured only what was changed since can be outside.
        """
        model = self._model
        unseen = model.combinations.find_unseen(builds)
        sizes = table[list(_SIZES)]
        found = inside_or_outside.reasons(model.reference, builds, sizes, distance, unseen)
        rows = builds.to_dict("records") if ready else []
        for at, one in enumerate(ready):
            if one.told is not None and one.before is not None:
                changed = set(one.told.changed)
                kept = [reason for reason in found[at] if reason.field in changed]
                new = model.changes.reasons(one.before, rows[at], one.told.changed)
                known = {reason.field for reason in kept if reason.outside}
                kept += [reason for reason in new if reason.field not in known]
                found[at] = sorted(kept, key=lambda reason: -reason.severity)
        return found

    def _families(self, builds: pd.DataFrame) -> list[str]:
        """Return whether the family of each build is known, new or not given."""
        known = effect_points.KnownLabels(self._model.fields).of(builds)[:, 1] >= 0
        named = builds["family"].notna().to_numpy()
        return [
            "known" if here else "new" if given else "not given"
            for here, given in zip(known.tolist(), named.tolist(), strict=True)
        ]

    def _regime(self, shop: int | None, told: FromMeasured | None) -> str:
        """Return what the limits of an answer are for."""
        if told is not None:
            return "measured engine"
        if shop is None:
            return "new shop"
        return "own dyno" if self._model.own_dyno else "known shop"


def _widened(model: Model, distance: float) -> float:
    beyond = distance / model.reference.outside
    return float(np.clip(_LEAST_WIDER * max(1.0, beyond), _LEAST_WIDER, _MOST_WIDER))
