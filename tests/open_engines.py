"""The open data set of 1985's cars as the tables that curating gives: one reading an engine."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.values.sheet import Build

UCI = Path(__file__).parent / "open_data" / "uci_automobile.csv"


def piston_engines() -> pd.DataFrame:
    """Return the rows with every number there, without rotary engines."""
    table = pd.read_csv(UCI)
    return (
        table[table["kind"] != "rotor"]
        .drop(columns="kind")
        .dropna(subset=["bore_in", "stroke_in", "horsepower", "peak_rpm"])
    )


def curated() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return builds and pulls of the petrol engines; a maker stands for a shop."""
    table = piston_engines().query("diesel == 0").reset_index(drop=True)
    sheets, rows = [], []
    for i, row in table.iterrows():
        name = f"uci-{i:03d}"
        values = {
            "sheet_id": name,
            "shop": f"{row['maker']:032x}",
            "cylinders": int(row["cylinders"]),
            "bore": float(row["bore_in"]),
            "stroke": float(row["stroke_in"]),
            "compression_ratio": float(row["compression_ratio"]),
            "aspiration": "turbocharged" if row["turbo"] else "natural",
            "fuel": "gasoline",
            "correction": "SAE J1349",
        }
        if isinstance(row["metering"], str):
            carb = row["metering"] == "carb"
            values["fuel_metering"] = "carburetor" if carb else "port injection"
        sheets.append(Build(sheet_id=name, source="", values=values))
        torque = row["horsepower"] * TORQUE_POWER_CONSTANT / row["peak_rpm"]
        rows.append((name, 0, float(row["peak_rpm"]), torque, float(row["horsepower"])))
    builds = typed_builds(sheets).assign(
        route="stated", factor=1.0, factor_sd=0.0, doubt_sd=0.0, copies=1
    )
    pulls = pd.DataFrame(rows, columns=["sheet_id", "pull", "rpm", "torque", "power"])
    return builds, pulls
