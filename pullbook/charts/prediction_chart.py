"""Predicted torque and power, as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl

from pullbook.charts import matplotlib_writer
from pullbook.charts.drawing import STYLE, save
from pullbook.drawings import prediction_drawing

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.figure import Figure

    from pullbook.model.trained.pulls import Pull
    from pullbook.schemas.answer import Answer
    from pullbook.words.units import Units


def draw(answers: Sequence[Answer], path: Path, units: Units) -> None:
    """Draw torque and power of builds with their limits into a file.

    Parameters
    ----------
    answers
        At most four.
    path
        Ends in ``.svg``, ``.png`` or ``.pdf``.
    units
        Units to draw in.

    """
    with mpl.rc_context(STYLE):
        save(of_answers(answers, units), path)


def of_answers(answers: Sequence[Answer], units: Units, pull: Pull | None = None) -> Figure:
    """Return what `prediction_drawing.of_answers` describes, under `STYLE`."""
    return matplotlib_writer.figure(prediction_drawing.of_answers(answers, units, pull))


def on_one_pair(answer: Answer, units: Units, pull: Pull | None = None) -> Figure:
    """Return what `prediction_drawing.on_one_pair` describes, under `STYLE`."""
    return matplotlib_writer.figure(prediction_drawing.on_one_pair(answer, units, pull=pull))
