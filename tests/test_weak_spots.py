"""What answers should do over invented circles, by the last `make weak-spots`; not all of it holds.

A row that does not hold yet is expected to fail. Once it passes, strictness asks for its mark to be
taken off, so the list below is what is known to be wrong.
"""

from pathlib import Path

import pandas as pd
import pytest

TABLE = pd.read_csv(
    Path(__file__).parents[1] / "benchmarks" / "results" / "weak_spots.csv",
    index_col=["kind", "figure"],
)
HELD = (88.0, 96.0)  # %, of limits at 90 %: the mean of the circles is uncertain by one or two
#: Highest values: of a sweep that is shorter than what is answered, only a miss above can show.
TOP = (88.0, 98.0)
PULLS_TRUE = (0.75, 1.25)
ENOUGH_LIKE = (0.75, 1.0)


def wanted(kind, figure, limits, why=None):
    marks = [pytest.mark.xfail(reason=why, strict=True)] if why else []
    return pytest.param(kind, figure, limits, marks=marks, id=f"{kind}: {figure}")


SHRUNKEN = "what a part does is learned from builds of other engines, which blurs it"
WIDE = "few families can be held out, so limits for a new one are wider than need be"


@pytest.mark.parametrize(
    ("kind", "figure", "limits"),
    [
        wanted("new shop", "readings inside, %", HELD),
        wanted("new shop", "whole curves inside, %", HELD),
        wanted("new shop", "highest torque inside, %", TOP),
        wanted("new shop", "highest power inside, %", TOP),
        wanted("known shop", "readings inside, %", HELD),
        wanted("known shop", "highest power inside, %", TOP),
        wanted("new family", "readings inside, %", HELD),
        wanted("new family", "highest power inside, %", TOP, WIDE),
        wanted("new family, known shop", "readings inside, %", HELD),
        wanted("new family, known shop", "highest power inside, %", TOP),
        wanted("no ratio, octane, timing, fuel", "readings inside, %", HELD),
        wanted("no ratio, octane, timing, fuel", "highest torque inside, %", TOP),
        wanted("no ratio, octane, timing, fuel", "highest power inside, %", TOP),
        wanted("nothing of the heads", "readings inside, %", HELD),
        wanted("measured engine", "readings inside, %", HELD),
        wanted(
            "measured engine", "told apart where the true change is nothing changed, %", (0.0, 10.0)
        ),
        wanted(
            "measured engine", "told apart where the true change is over 2 %, %", (60.0, 100.0),
            SHRUNKEN,
        ),
        wanted("small changes", "standing flips, %", (0.0, 0.5), "a standing has hard edges"),
        wanted(
            "lone shop", "with limits, %", (90.0, 100.0),
            "the smallest have fewer than five engines to hold out",
        ),
        *(
            wanted("part effects", f"{part}: predicted over true change", PULLS_TRUE, why)
            for part, why in (
                ("camshaft", SHRUNKEN), ("intake", SHRUNKEN), ("heads", SHRUNKEN),
                ("header", SHRUNKEN), ("compression", SHRUNKEN), ("carburetor", SHRUNKEN),
                ("stroke", None),
            )
        ),
        *(
            wanted("part effects", f"{part}: correlation", ENOUGH_LIKE, why)
            for part, why in (
                ("camshaft", None), ("intake", None), ("heads", SHRUNKEN), ("header", SHRUNKEN),
                ("compression", None), ("carburetor", SHRUNKEN), ("stroke", None),
            )
        ),
    ],
)  # fmt: skip
def test_answers_over_circles(kind, figure, limits):
    low, high = limits
    assert low <= TABLE.loc[(kind, figure), "mean"] <= high


def test_the_table_is_of_enough_circles():
    assert (TABLE["sets"] >= 5).all()
