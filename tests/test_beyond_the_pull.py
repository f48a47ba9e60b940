"""Limits of a measured engine at speeds that its pull did not reach."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import foot, pound_force

import pullbook
from pullbook.pipeline.builds import build_files
from pullbook.pipeline.demo import dyno_pulls, part_changes, shops
from pullbook.schemas.standing import Standing

LBFT = 1 / (foot * pound_force)
#: Standard deviations of the logarithm of torque, of level and tilt, from engine to engine and from
#: mounting to mounting, and of a reading; the share of fields left out: common practice, no source.
ENGINE, MOUNTING, READING, LEFT_OUT = (0.016, 0.010), (0.006, 0.003), 0.002, 0.25
#: Pulls end at this share of the speed of highest power, as most do, and are cut by so many steps.
END, STEP, CUT = 0.95, 250.0, 6


def scatter(rng, engine, rpm):
    """Return how an engine, and one mounting of it, are off what was designed, as logarithms."""
    along = (rpm - rpm.mean()) / np.ptp(rpm)
    level, tilt = (one + rng.normal(0, sd) for one, sd in zip(engine, MOUNTING, strict=True))
    return level + tilt * along + rng.normal(0, READING, len(rpm))


def engines(seed):
    """Return engines before and after a change of parts: fields, speeds and both pulls, lb-ft."""
    rng = np.random.default_rng(seed)
    made = [made.build for made in dyno_pulls.run(shops.Circle(8, 60, 4242 + seed))]
    before = [one for one in made if one.values["aspiration"] == "natural"][:16]
    after = [part_changes.changed(one, rng, float(rng.uniform()), 0.2) for one in before]
    curves = dyno_pulls.simulate([*before, *after])
    for at, both in enumerate(zip(before, after, strict=True)):
        drawn = curves[at], curves[len(before) + at]
        end = min(*(one.rpm[1] for one in drawn), END * min(one.power_rpm for one in drawn))
        rpm = np.arange(2000.0, end, STEP)
        if len(rpm) < CUT + 5:
            continue
        engine = [rng.normal(0, sd) for sd in ENGINE]
        pulls = [LBFT * one.at(rpm)[:, 0] * np.exp(scatter(rng, engine, rpm)) for one in drawn]
        given = [{n: v for n, v in one.values.items() if v is not None} for one in both]
        kept = {"cylinders", "bore", "stroke", "arrangement", "aspiration", "family"}
        for name in [n for n, v in given[0].items() if given[1].get(n) == v and n not in kept]:
            if rng.random() < LEFT_OUT:
                given = [{n: v for n, v in one.items() if n != name} for one in given]
        yield given, rpm, pulls


def readings(predictor, folder, seeds):
    """Return how far beyond the pull each reading lies, rpm, whether its limits hold, and width."""
    for seed in seeds:
        for (before, after), rpm, (first, second) in engines(seed):
            lines = ["---", "sheet_id: ran", "engine: one", "correction: SAE J1349"]
            lines += [f"{name}: {value}" for name, value in before.items()]
            lines += ["---", "rpm,torque"]
            lines += [f"{a:.0f},{b:.2f}" for a, b in zip(rpm[:-CUT], first[:-CUT], strict=True)]
            (folder / "ran.csv").write_text("\n".join(lines) + "\n")
            words = "".join(f"{name}: {value}\n" for name, value in after.items())
            (folder / "next.yaml").write_text(f"measured: ran.csv\nsheet_id: next\n{words}")
            (build,) = build_files.read(folder / "next.yaml")
            starts = predictor.starts([build])
            (found,) = predictor.predictions([build], [None], starts)
            if found.standing is Standing.OUTSIDE:
                continue
            for point, made in zip(found.points(rpm, 0.9), second, strict=True):
                if point.supported:
                    low, high = point.torque.low, point.torque.high
                    width = (high - low) / point.torque.value
                    yield max(point.rpm - rpm[-CUT - 1], 0.0), low <= made <= high, width


@pytest.mark.slow
def test_limits_hold_beyond_the_pull_as_within_it(tmp_path):
    """Readings of one engine go together: bounds for a quarter as many, two standard errors.

    Far beyond it they are much wider than within it.
    """
    found = np.array(list(readings(pullbook.load(), tmp_path, range(5, 11))))
    beyond, held, width = found.T
    for low, high in ((-1, 0), (1, 500), (501, 1000), (1001, 1500)):
        here = (low <= beyond) & (beyond <= high)
        error = np.sqrt(0.09 / (here.sum() / 4))
        assert here.sum() > 100
        assert 0.9 - 2 * error < held[here].mean() < 0.95 + 2 * error, (low, high)
    assert width[beyond > 1000].mean() > 1.5 * width[beyond == 0].mean()
