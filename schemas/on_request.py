"""What an answer holds where it was asked for: means over a band, and loads with their chances."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from pullbook.schemas.answer import rounded

if TYPE_CHECKING:
    from pullbook.schemas.answer import Between

PROPELLER, TOWING, TABLE = "propeller", "towing", "table"


@dataclass(frozen=True, slots=True)
class BandMean:
    """Mean torque and power over a band.

    Attributes
    ----------
    band
        Lowest and highest engine speed that were asked for, rev/min.
    torque, power
        The means over the tested part, lb-ft and hp, with limits; over the whole band if none was.
    tested
        Lowest and highest speed of the band that builds like it were tested at, rev/min; ``None``
        if they were tested at none of it.
    """

    band: tuple[float, float]
    torque: Between
    power: Between
    tested: tuple[float, float] | None

    def times(self, factor: float) -> BandMean:
        """Return the means multiplied by a factor."""
        torque, power = self.torque.times(factor), self.power.times(factor)
        return replace(self, torque=torque, power=power)

    def as_json(self) -> dict[str, Any]:
        """Return the means as ``predict --json`` prints them."""
        return {
            "band": [rounded(end) for end in self.tested or self.band],
            "asked_band": [rounded(end) for end in self.band],
            **self.torque.named("torque"),
            **self.power.named("power"),
            "tested": None if self.tested is None else [rounded(end) for end in self.tested],
        }


class Caution(NamedTuple):
    """Something that a build exceeds: what, its value, the most it should be, and at which rpm.

    ``of`` is ``octane``, ``compression_ratio``, ``peak_speed`` (rev/min) or ``piston_speed`` (m/s).
    """

    of: str
    value: float
    most: float
    rpm: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Return the caution as ``predict --json`` prints it."""
        return {"of": self.of, "value": rounded(self.value), "most": rounded(self.most),
                "rpm": rounded(self.rpm)}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Load:
    """Torque that an engine must give at each engine speed, at the flywheel.

    Attributes
    ----------
    kind
        `PROPELLER`, `TOWING` or `TABLE`.
    rpm, torque
        What was given: one point of a propeller, both ends of a band, or the rows of a table;
        rev/min, rising, and lb-ft.
    by_power
        Whether it was given as power.
    source
        Name of the table; empty for another kind.
    """

    kind: str
    rpm: tuple[float, ...]
    torque: tuple[float, ...]
    by_power: bool = False
    source: str = ""

    def times(self, factor: float) -> Load:
        """Return the load with its torque multiplied by a factor."""
        return replace(self, torque=tuple(one * factor for one in self.torque))

    def as_json(self) -> dict[str, Any]:
        """Return the load as ``predict --json`` prints it."""
        return {
            "kind": self.kind,
            "rpm": [rounded(one) for one in self.rpm],
            "torque": [rounded(one) for one in self.torque],
            "given_as": "power" if self.by_power else "torque",
        }


class LoadPoint(NamedTuple):
    """One engine speed: the load and what torque leaves above it, lb-ft.

    ``chance`` is that of a reading to clear the load; ``None`` without calibration and where too
    few similar engines were tested.
    """

    rpm: float
    load: float
    margin: Between
    chance: float | None
    supported: bool

    def times(self, factor: float) -> LoadPoint:
        """Return the point with its torque multiplied by a factor."""
        return self._replace(load=self.load * factor, margin=self.margin.times(factor))

    def as_json(self) -> dict[str, Any]:
        """Return the point as ``predict --json`` prints it."""
        return {
            "rpm": rounded(self.rpm),
            "load": rounded(self.load),
            **self.margin.named("margin"),
            "chance": rounded(self.chance, 4),
            "supported": self.supported,
        }


@dataclass(frozen=True, slots=True)
class Clearance:
    """How far the torque of a build clears a load, speed by speed.

    Attributes
    ----------
    load
        The load.
    level
        The chance that counts as cleared.
    points
        The engine speeds asked for that the load covers, and its own ends.
    together
        The chance, at least, that one pull clears the load at all tested speeds at once; ``None``
        where it is not known, or less than even.
    """

    load: Load
    level: float
    points: list[LoadPoint]
    together: float | None = None

    @property
    def tested(self) -> list[LoadPoint]:
        """The points at speeds that such builds were tested at."""
        return [one for one in self.points if one.supported]

    @property
    def worst(self) -> LoadPoint | None:
        """The tested point with the least chance; by its margin where none has a chance."""

        def near(one: LoadPoint) -> tuple[float, float]:
            return one.chance or 0.0, one.margin.value / one.load

        return min(self.tested, key=near, default=None)

    @property
    def below(self) -> list[tuple[float, float]]:
        """First and last speed of each run of tested points whose chance is below the level."""
        runs: list[list[float]] = []
        open_ = False
        for one in self.tested:
            short = one.chance is not None and one.chance < self.level
            if short and open_:
                runs[-1][1] = one.rpm
            elif short:
                runs.append([one.rpm, one.rpm])
            open_ = short
        return [(first, last) for first, last in runs]

    @property
    def unknown(self) -> list[float]:
        """The speeds that no such build was tested at.

        Below the tested speeds a propeller takes least, so those do not count.
        """
        first = self.tested[0].rpm if self.tested else float("inf")
        return [
            one.rpm
            for one in self.points
            if not one.supported and (one.rpm > first or self.load.kind != PROPELLER)
        ]

    @property
    def cleared(self) -> bool | None:
        """Whether the chance keeps the level at every speed; ``None`` where that is not known."""
        if self.below:
            return False
        worst = self.worst
        return None if worst is None or worst.chance is None or self.unknown else True

    def times(self, factor: float) -> Clearance:
        """Return it with all torque multiplied by a factor."""
        points = [one.times(factor) for one in self.points]
        return replace(self, load=self.load.times(factor), points=points)

    def as_json(self) -> dict[str, Any]:
        """Return it as ``predict --json`` prints it."""
        return {**self.in_short(), "curve": [one.as_json() for one in self.points]}

    def in_short(self) -> dict[str, Any]:
        """Return it without its points, as ``choose --json`` prints it."""
        worst = self.worst
        return {
            "load": self.load.as_json(),
            "level": rounded(self.level, 4),
            "cleared": self.cleared,
            "lowest_chance": None if worst is None else {
                "rpm": rounded(worst.rpm), "chance": rounded(worst.chance, 4)},
            "chance_together": rounded(self.together, 4),
            "below_level": [[rounded(end) for end in run] for run in self.below],
            "not_tested": [rounded(one) for one in self.unknown],
        }  # fmt: skip
