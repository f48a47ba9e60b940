"""The sheets that the model finds hardest: a page for the analyst, and the same as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.model.evaluation.hardest_sheets import hardest
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.pipeline.privacy.signatures import SHORT_CODE
from pullbook.pipeline.storage import csv_text, whole_writes
from pullbook.reports.document import Page
from pullbook.text.prediction_text import PLACE
from pullbook.words.figures import counted

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from pullbook.model.evaluation.evaluate import Evaluation

TABLE = "hardest.csv"


def page(table: pd.DataFrame, what: str) -> Page:
    """Return the page of `hardest_sheets.hardest`; ``what`` was held out."""
    made = Page("Hardest sheets")
    made.text(
        f"The {counted(len(table), 'sheet')} that were predicted worst by models that had not seen"
        f" their {what}, the worst first, with what may be amiss. Check these before you tune the"
        " model: a wrong field teaches it something wrong. A sheet without a reason may simply be"
        f" an unusual engine. Torque at the flywheel ({REFERENCE})."
    )
    made.table(
        ["sheet", what, "error, %", "reads high by, %", "more at the top by, %", "place",
         "what may be amiss"],
        [
            [row["sheet_id"], row["shop"][:SHORT_CODE], f"{row['error']:.1f}",
             f"{row['high']:+.1f}", f"{row['tilt']:+.1f}", PLACE[row["standing"]],
             "; ".join(row["reasons"])]
            for row in table.to_dict("records")
        ],
    )  # fmt: skip
    return made


def write(found: Evaluation, folder: Path) -> None:
    """Write the page and the table."""
    table = hardest(found)
    page(table, found.held_out).write(folder, "hardest")
    rows = [
        list(table.columns),
        *(
            [row["sheet_id"], row["shop"], f"{row['error']:.2f}", f"{row['high']:.2f}",
             f"{row['tilt']:.2f}", row["standing"], "; ".join(row["reasons"])]
            for row in table.to_dict("records")
        ),
    ]  # fmt: skip
    whole_writes.write_text(folder / TABLE, csv_text.text(rows))
