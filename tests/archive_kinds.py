"""The archive of invented shops: files of every kind that people keep, made from known truth."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

from archive_truth import (
    Case,
    Truth,
    cell,
    engine,
    grid,
    lines,
    metric,
    observed,
    ods,
    power,
    sheet,
    table,
    text,
    xls,
    xlsx,
)

Maker = Callable[[random.Random], Iterator[Case]]
KINDS: dict[str, Maker] = {}


def kind(name: str) -> Callable[[Maker], Maker]:
    def add(maker: Maker) -> Maker:
        KINDS[name] = maker
        return maker

    return add


def corpus(seed: int = 19, of_each: int = 2) -> Iterator[Case]:
    """Yield all cases: for each kind, each of its spellings, on ``of_each`` engines."""
    for place, (name, maker) in enumerate(KINDS.items()):
        for turn in range(of_each):
            for case in maker(random.Random(1000 * seed + 10 * place + turn)):
                case.kind = name
                yield case


def _one(data: bytes, *truth: Truth, name: str = "sheet.csv", settings: str = "") -> Case:
    return Case("", {name: data}, list(truth), settings)


def _metric(truth: Truth) -> Truth:
    """Return the truth with the size that the rounded metric sheet gives."""
    size = {n: float(t.split()[0]) / 25.4 for n, t in metric(truth.values).items()}
    return Truth({**truth.values, **size}, truth.curve)


# --- silence: what was once taken in with wrong numbers ------------------------------------------


@kind("observed beside corrected")
def _(rng):
    for heads in (
        ("rpm", "TQ", "CTQ", "HP", "CHP"),
        ("rpm", "Obs Torque", "Corr Torque", "Obs Power", "Corr Power"),
        ("RPM", "TQ obs", "TQ cor", "HP obs", "HP cor"),
        ("rpm", "Torque", "STP Torque", "HP", "STP HP"),
    ):
        truth = engine(rng)
        there = Truth(truth.values, [(r, 1.062 * t) for r, t in truth.curve], decoy=1 / 1.062)
        yield _one(sheet(truth, heads=heads, kinds="rtcpd"), there)
        swapped = (heads[0], heads[2], heads[1], heads[4], heads[3])
        seen = observed(truth)
        yield _one(sheet(seen, heads=swapped, kinds="rctdp"), Truth(seen.values, seen.curve))


@kind("two sheets in one file")
def _(rng):
    for _ in range(2):
        a, b = engine(rng, sheet_id="first"), engine(rng, sheet_id="second")
        yield _one(sheet(a) + sheet(b), a, b)
        body = [*letterhead(a), *table(a), *letterhead(b), *table(b)]
        yield _one(text(body), a, b)


def letterhead(truth: Truth, mark: str = ",") -> list[str]:
    said = {**truth.values}
    names = {
        "sheet_id": "Test No", "cylinders": "Cylinders", "bore": "Bore", "stroke": "Stroke",
        "compression_ratio": "Compression Ratio", "intake_duration": "Intake Duration",
        "exhaust_duration": "Exhaust Duration", "lobe_separation": "LSA",
        "intake_type": "Intake Manifold", "correction": "Correction", "arrangement": "Arrangement",
        "air_temperature": "Air Temp", "barometer": "Barometer", "relative_humidity": "Humidity",
    }  # fmt: skip
    rows = ["Tern Quay Marine Dyno Room", ""]
    return rows + [f"{names.get(n, n)}{mark}{v}" for n, v in said.items()] + [""]


@kind("runs of different builds by a column")
def _(rng):
    for name, values in (("compression", (9.4, 10.5)), ("intake", ("dual plane", "single plane"))):
        truth = engine(rng)
        field = {"compression": "compression_ratio", "intake": "intake_type"}[name]
        rows = [f"rpm,torque,power,run,{name}"]
        made = []
        for run, value in enumerate(values, 1):
            own = Truth(
                {**truth.values, field: value},
                [(r, round(t * (1 + 0.04 * run), 1)) for r, t in truth.curve],
            )
            made.append(own)
            rows += [f"{r:.0f},{t},{power(t, r):.1f},{run},{value}" for r, t in own.curve]
        yield _one(
            text([*lines({k: v for k, v in truth.values.items() if k != field}), *rows]), *made
        )


@kind("runs of different builds by a remark")
def _(rng):
    for remark in ("advanced 4 deg", "after the carb change", "other heads"):
        truth = engine(rng)
        rows = ["rpm,torque,power,run,remarks"]
        for run in (1, 2):
            rows += [
                f"{r:.0f},{t * (1 + 0.008 * run * r / 1000):.1f},{power(t * (1 + 0.008 * run * r / 1000), r):.1f},{run},{remark if run == 2 else ''}"
                for r, t in truth.curve
            ]
        yield _one(text([*lines(truth.values), *rows]))


@kind("idling, aborted and coasting")
def _(rng):
    for way in ("idle", "aborted", "coast", "idle and coast", "aborted late", "half load"):
        truth = engine(rng)
        rows = [(r, t) for r, t in truth.curve]
        if "idle" in way:
            rows = [(850.0, 22.0), (900.0, 25.0), (1150.0, 40.0), *rows]
        if way == "aborted":
            rows = [*[(r, round(t * 0.995, 1)) for r, t in rows[:3]], *rows]
        if way == "aborted late":
            rows = [*rows, *[(r, round(t * 1.004, 1)) for r, t in truth.curve[:4]]]
        if way == "half load":
            rows += [(r, round(0.55 * t, 1)) for r, t in reversed(truth.curve[1:])]
        if "coast" in way:
            rows += [(r, round(0.12 * t - 30, 1)) for r, t in reversed(truth.curve[1::3])]
        body = ["rpm,torque", *(f"{r:.0f},{t:.1f}" for r, t in rows)]
        yield _one(text([*lines(truth.values), *body]), truth)


@kind("a bare column on a metric sheet")
def _(rng):
    for heads, kinds in (
        (("rpm", "torque"), "rn"),
        (("rpm", "torque"), "rt"),
        (("rpm", "power"), "rk"),
    ):
        truth = _metric(engine(rng))
        yield _one(sheet(truth, fields=metric(truth.values), heads=heads, kinds=kinds))


@kind("a bare column that the settings file settles")
def _(rng):
    truth = _metric(engine(rng))
    yield _one(
        sheet(truth, fields=metric(truth.values), heads=("rpm", "torque"), kinds="rn"),
        truth,
        settings="units: {torque: N.m}\n",
    )
    yield _one(
        sheet(truth, fields=metric(truth.values), heads=("rpm", "power"), kinds="rs"),
        truth,
        settings="units: {power: PS}\n",
    )


@kind("bare barometer")
def _(rng):
    for bare, inhg in (
        (752, 29.606),
        (748, 29.449),
        (1004, 29.648),
        (998, 29.471),
        (99.8, 29.471),
        (29.5, 29.5),
    ):
        truth = _metric(observed(engine(rng)))
        there = Truth({**truth.values, "barometer": inhg}, truth.curve)
        yield _one(
            sheet(
                truth,
                fields={**metric(truth.values), "barometer": bare, "air_temperature": "24 C"},
                heads=("rpm", "torque (N.m)"),
                kinds="rn",
            ),
            there,
        )


# --- units ----------------------------------------------------------------------------------------


@kind("units proven by torque and power")
def _(rng):
    for kinds in ("rnk", "rns", "rnp", "rtk", "rtp", "rgs", "rgk", "rgp"):
        truth = _metric(engine(rng))
        yield _one(sheet(truth, fields=metric(truth.values), kinds=kinds), truth)


@kind("units proven though the rpm is rounded")
def _(rng):
    for kinds in ("nk", "tp", "np"):
        truth = _metric(engine(rng))
        rows = ["rpm,torque,power"]
        for r, t in truth.curve:
            swept = r + rng.uniform(-9, 9)
            rows.append(f"{r:.0f},{cell(kinds[0], swept, t)},{cell(kinds[1], swept, t)}")
        yield _one(text([*lines({**truth.values, **metric(truth.values)}), *rows]), truth)


@kind("metric columns without units on a sheet of inches")
def _(rng):
    for kinds in ("rnk", "rns", "rgs"):
        truth = engine(rng)
        yield _one(sheet(truth, kinds=kinds), truth)


@kind("the only unit that is possible for the size")
def _(rng):
    for letter in ("n", "g"):
        truth = _metric(engine(rng))
        size = (
            0.785398
            * float(str(truth.values["bore"])) ** 2
            * float(str(truth.values["stroke"]))
            * int(str(truth.values["cylinders"]))
        )
        best = max(t for _, t in truth.curve)
        truth.curve = [(r, round(1.3 * size * t / best, 1)) for r, t in truth.curve]
        yield _one(
            sheet(truth, fields=metric(truth.values), heads=("rpm", "torque"), kinds=f"r{letter}"),
            truth,
        )


@kind("units that whole numbers leave open")
def _(rng):
    truth = _metric(engine(rng))
    few = Truth(truth.values, [(r, t) for r, t in truth.curve[:5]])
    rows = ["rpm,torque,power"]
    rows += [f"{r:.0f},{t * 1.3558:.0f},{power(t, r) * 1.01387:.0f}" for r, t in few.curve]
    said = text([*lines({**truth.values, **metric(truth.values)}), *rows])
    yield Case("", {"sheet.csv": said}, [few], may_refuse=True)


@kind("units in headings")
def _(rng):
    for heads, kinds in (
        (("rpm", "Nm", "kW", "PS"), "rnks"), (("rpm", "mkp", "PS"), "rgs"),
        (("rpm", "ft.lbs.", "BHP"), "rtp"), (("RPM x1000", "lb-ft", "hp"), "Rtp"),
        (("rpm", "Torque x10 (lb-ft)", "HP"), "rTp"), (("rpm", "Torque [N-m]", "Power [kW]"), "rnk"),
        (("1/min", "N.m", "kW"), "rnk"), (("rpm", "lb-ft", "Nm", "hp"), "rtnp"),
        (("rpm", '"Torque, Nm"', '"Power, PS"'), "rns"), (("engine speed", "ft-lb", "hp"), "rtp"),
        (("rpm", "kgm", "CV"), "rgs"), (("rpm", "kp.m", "PS"), "rgs"),
    ):  # fmt: skip
        truth = engine(rng)
        yield _one(sheet(truth, heads=heads, kinds=kinds), truth)


@kind("weather in every unit")
def _(rng):
    for fields, values in (
        ({"barometer": "750 mmHg", "air_temperature": "24 C"}, {"barometer": 29.528, "air_temperature": 75.2}),
        ({"barometer": "1004 mbar", "air_temperature": "24 degC"}, {"barometer": 29.648, "air_temperature": 75.2}),
        ({"barometer": "100.1 kPa", "air_temperature": "75 F"}, {"barometer": 29.56, "air_temperature": 75}),
        ({"barometer": '29.71"', "air_temperature": "75.0"}, {"barometer": 29.71, "air_temperature": 75}),
        ({"barometer": "29.71 in Hg", "air_temperature": "75 deg F"}, {"barometer": 29.71, "air_temperature": 75}),
        ({"barometer": "1.004 bar", "air_temperature": "297 K"}, {"barometer": 29.648, "air_temperature": 74.93}),
        ({"relative_humidity": "0.45"}, {"relative_humidity": 45}),
        ({"relative_humidity": "45%"}, {"relative_humidity": 45}),
    ):  # fmt: skip
        truth = observed(engine(rng))
        yield _one(sheet(truth, fields=fields), Truth({**truth.values, **values}, truth.curve))
    for celsius in (18, 24, 31):
        truth = _metric(observed(engine(rng)))
        there = Truth({**truth.values, "air_temperature": 1.8 * celsius + 32}, truth.curve)
        yield _one(sheet(truth, fields={**metric(truth.values), "air_temperature": celsius},
                         heads=("rpm", "Nm"), kinds="rn"), there)  # fmt: skip


@kind("altitude is no barometer")
def _(rng):
    truth = observed(engine(rng))
    yield _one(sheet(truth, fields={"barometer": None, "altitude": "120 m"}))
    yield _one(sheet(truth, fields={"barometer": "850 ft"}))


# --- labels ---------------------------------------------------------------------------------------


@kind("labels of the correction")
def _(rng):
    for words, standard in (
        (("STD", "Std", "STP", "stp corrected", "J607", "corrected to STD"), "SAE J607"),
        (("SAE", "J1349", "SAE J1349 JUN90", "J1349 rev. 2004", "SAE J1349 (Aug 2004)",
          "corrected to SAE J1349", "sae j1349 net"), "SAE J1349"),
        (("DIN", "DIN 70020", "corr. to DIN", "korrigiert nach DIN 70020"), "DIN 70020"),
        (("ISO", "ISO 1585", "iso1585", "corrected to ISO 1585"), "ISO 1585"),
    ):  # fmt: skip
        for word in words:
            truth = engine(rng, correction=standard)
            yield _one(sheet(truth, fields={"correction": word}), truth)
    for word in ("uncorrected", "none", "Obs", "raw", "as measured", "nicht korrigiert"):
        truth = observed(engine(rng))
        yield _one(sheet(truth, fields={"correction": word}), truth)


@kind("labels of the correction in headings")
def _(rng):
    for heads, standard in (
        (("rpm", "STP TQ", "STP HP"), "SAE J607"), (("rpm", "SAE J1349 Torque", "SAE J1349 Power"), "SAE J1349"),
        (("rpm", "Torque (DIN)", "Power (DIN)"), "DIN 70020"), (("rpm", "TQ std", "HP std"), "SAE J607"),
    ):  # fmt: skip
        truth = engine(rng, correction=standard)
        yield _one(sheet(truth, fields={"correction": None}, heads=heads), truth)
    truth = observed(engine(rng))
    yield _one(sheet(truth, fields={"correction": None}, heads=("rpm", "Obs TQ", "Obs HP")), truth)


@kind("a label that says nothing")
def _(rng):
    for word in ("corrected", "yes", "1.043", "dyno corr"):
        yield _one(sheet(engine(rng), fields={"correction": word}))


# --- words of the trade -----------------------------------------------------------------------------


@kind("words for the engine")
def _(rng):
    for word, arrangement in (("V8", "vee"), ("V-8", "vee"), ("8 cyl", None), ("v 8", "vee")):
        truth = engine(rng, cylinders=8, arrangement=arrangement)
        truth.values = {k: v for k, v in truth.values.items() if v is not None}
        yield _one(sheet(truth, fields={"cylinders": word, "arrangement": None}), truth)
    for word in ("I6", "inline 6", "straight 6", "6-cyl inline", "L6"):
        truth = engine(rng, cylinders=6, arrangement="inline")
        yield _one(sheet(truth, fields={"cylinders": word, "arrangement": None}), truth)
    truth = engine(rng, cylinders=8, arrangement="vee")
    yield _one(
        sheet(truth, fields={"cylinders": None, "arrangement": None, "Engine type": "V8"}), truth
    )


@kind("words for parts")
def _(rng):
    for fields, values in (
        ({"intake_type": "DP"}, {"intake_type": "dual plane"}),
        ({"intake_type": "Dual-Plane"}, {"intake_type": "dual plane"}),
        ({"intake_type": "180 degree"}, {"intake_type": "dual plane"}),
        ({"intake_type": "open plenum"}, {"intake_type": "single plane"}),
        ({"intake_type": "SP"}, {"intake_type": "single plane"}),
        ({"intake_type": "high-rise dual plane"}, {"intake_type": "dual plane"}),
        ({"lifter": "hyd roller"}, {"lifter": "hydraulic roller"}),
        ({"lifter": "solid flat"}, {"lifter": "solid flat tappet"}),
        ({"lifter": "Hyd. flat tappet"}, {"lifter": "hydraulic flat tappet"}),
        ({"lifter": "mech roller"}, {"lifter": "solid roller"}),
        ({"fuel": "91 octane pump gas"}, {"fuel": "gasoline", "octane": 91}),
        ({"fuel": "93"}, {"fuel": "gasoline", "octane": 93}),
        ({"fuel": "E85"}, {"fuel": "e85"}),
        ({"fuel": "Premium, 92 octane"}, {"fuel": "gasoline", "octane": 92}),
        ({"muffled": "x"}, {"muffled": True}), ({"muffled": "Y"}, {"muffled": True}),
        ({"muffled": "nein"}, {"muffled": False}), ({"accessories": "ja"}, {"accessories": True}),
        ({"accessories": "s\u00ed"}, {"accessories": True}),
        ({"exhaust_type": "long tubes"}, {"exhaust_type": "long-tube header"}),
        ({"exhaust_type": "cast iron manifolds"}, {"exhaust_type": "cast manifold"}),
        ({"headers": "1 3/4 x 30 headers"}, {"primary_diameter": 1.75, "primary_length": 30, "exhaust_type": "long-tube header"}),
        ({"headers": "1-5/8 shorty headers"}, {"primary_diameter": 1.625, "exhaust_type": "shorty header"}),
        ({"valves": "2.02/1.60"}, {"intake_valve": 2.02, "exhaust_valve": 1.60}),
        ({"compression_ratio": "9.4:1"}, {"compression_ratio": 9.4}),
        ({"compression_ratio": "10 to 1"}, {"compression_ratio": 10}),
        ({"aspiration": "NA"}, {}), ({"aspiration": "N/A motor"}, None),
        ({"fuel_metering": "4 barrel carb"}, {"fuel_metering": "carburetor"}),
        ({"dyno": "engine dyno"}, {"dyno": "engine"}), ({"dyno": "rolling road"}, {"dyno": "chassis"}),
    ):  # fmt: skip
        truth = engine(rng)
        data = sheet(truth, fields=fields)
        yield (
            _one(data)
            if values is None
            else _one(data, Truth({**truth.values, **values}, truth.curve))
        )


@kind("cam cards in one cell")
def _(rng):
    bare = dict.fromkeys(("intake_duration", "exhaust_duration", "lobe_separation"))
    for card, values in (
        ("224/230 @ .050, 110 LSA +4, .510 lift",
         {"intake_duration": 224, "exhaust_duration": 230, "lobe_separation": 110, "intake_centerline": 106, "intake_lift": 0.510}),
        ("218/226 @ 0.050, 112 LSA, .480/.495 lift",
         {"intake_duration": 218, "exhaust_duration": 226, "lobe_separation": 112, "intake_lift": 0.480, "exhaust_lift": 0.495}),
        ("230/236 at .050; 108 LSA", {"intake_duration": 230, "exhaust_duration": 236, "lobe_separation": 108}),
    ):  # fmt: skip
        truth = engine(rng)
        yield _one(
            sheet(truth, fields={**bare, "cam": f'"{card}"'}),
            Truth({**truth.values, **values}, truth.curve),
        )


@kind("sizes as people write them")
def _(rng):
    for fields, values in (
        ({"bore": '4.030"'}, {"bore": 4.030}), ({"bore": "4-1/32"}, {"bore": 4.03125}),
        ({"bore": "4 1/32 in"}, {"bore": 4.03125}), ({"bore": "4.030 x 3.48", "stroke": None}, {"bore": 4.03, "stroke": 3.48}),
        ({"bore": None, "stroke": None, "bore x stroke": "4.000 x 3.250"}, {"bore": 4.0, "stroke": 3.25}),
        ({"bore": None, "displacement": 350, "stroke": 3.48, "cylinders": 8}, {"cylinders": 8, "bore": None, "stroke": 3.48, "displacement": 350}),
        ({"bore": None, "stroke": None, "displacement": "350 ci", "cylinders": 8}, {"cylinders": 8, "bore": None, "stroke": None, "displacement": 350}),
        ({"bore": None, "stroke": None, "cid": 327, "cylinders": 8}, {"cylinders": 8, "bore": None, "stroke": None, "displacement": 327}),
        ({"bore": None, "stroke": None, "displacement": "5.7L", "cylinders": 8}, {"cylinders": 8, "bore": None, "stroke": None, "displacement": 347.84}),
        ({"bore": "101.6", "stroke": "88.4"}, {"bore": 4.0, "stroke": 3.4803}),
    ):  # fmt: skip
        truth = engine(rng, cylinders=8)
        heads, kinds = ("rpm", "torque (lb-ft)"), "rt"
        there = {k: v for k, v in {**truth.values, **values}.items() if v is not None}
        yield _one(sheet(truth, fields=fields, heads=heads, kinds=kinds), Truth(there, truth.curve))


@kind("bored over, the family's bore in the settings file")
def _(rng):
    for word in (".030 over", "0.030 over", "+.030", "30 over"):
        truth = engine(rng, family="petrel-six", bore=3.905)
        yield _one(sheet(truth, fields={"bore": word}), truth,
                   settings="families: {petrel-six: {bore: 3.875 in}}\n")  # fmt: skip


# --- numbers and dates ------------------------------------------------------------------------------


@kind("marks on numbers")
def _(rng):
    for mark in ("{}*", "~{}", "{} (e)", "{}?", "ca. {}"):
        truth = engine(rng)
        rows = table(truth)
        at = 4
        cells = rows[at].split(",")
        rows[at] = ",".join([cells[0], mark.format(cells[1]), cells[2]])
        yield _one(text([*lines(truth.values), *rows]), truth)
        yield _one(
            sheet(
                truth, fields={"compression_ratio": mark.format(truth.values["compression_ratio"])}
            ),
            truth,
        )


@kind("thousands and commas")
def _(rng):
    truth = engine(rng)
    rows = ["rpm,torque,power", *(f'"{r:,.0f}",{t},{power(t, r):.1f}' for r, t in truth.curve)]
    yield _one(text([*lines(truth.values), *rows]), truth)
    rows = [
        "rpm;torque;power",
        *(
            f"{r:.0f};{str(t).replace('.', ',')};{power(t, r):.1f}".replace(".", ",")
            for r, t in truth.curve
        ),
    ]
    yield _one(text([*lines(truth.values), *rows]), truth)
    rows = [
        "rpm;torque;power",
        *(
            f"{r:,.0f}".replace(",", ".") + f";{t:.1f};{power(t, r):.1f}".replace(".", ",")
            for r, t in truth.curve
        ),
    ]
    yield _one(text([*lines(truth.values), *rows]), truth)
    rows = [
        "rpm,torque,power",
        *(f"{r:,.0f}".replace(",", " ") + f",{t},{power(t, r):.1f}" for r, t in truth.curve),
    ]
    yield _one(text([*lines(truth.values), *rows]), truth)


@kind("words for not known")
def _(rng):
    for word in ("TBD", "???", "not measured", "unknown", "k.A.", "n/k", "-", "#N/A"):
        truth = engine(rng)
        yield _one(sheet(truth, fields={"octane": word, "rod_length": word}), truth)


@kind("an optional field that cannot be read")
def _(rng):
    for fields in ({"octane": "high"}, {"timing": "per curve card"}, {"lifter": "the good ones"},
                   {"rod_length": "long"}, {"muffled": "partly"}, {"tested_on": "last spring"}):  # fmt: skip
        truth = engine(rng)
        yield _one(sheet(truth, fields=fields), truth)
    yield _one(sheet(engine(rng), fields={"aspiration": "blown a bit"}))


@kind("dates")
def _(rng):
    for word in ("5/31/2014", "31.05.2014", "May 31 2014", "31 May 2014", "41790", "2014-05-31",
                 "31. Mai 2014", "31 de mayo de 2014", "05/2014", "2014"):  # fmt: skip
        truth = engine(rng, tested_on=2014)
        yield _one(sheet(truth, fields={"tested_on": word}), truth)


# --- layouts ----------------------------------------------------------------------------------------


@kind("a letterhead, no fences")
def _(rng):
    for way in ("cells", "colons", "pairs", "over values", "spaces"):
        truth = engine(rng)
        said = truth.values
        names = list(said)
        if way == "cells":
            rows = [*letterhead(truth), *table(truth)]
        elif way == "colons":
            rows = [
                "Dyno report",
                *(f"{n.replace('_', ' ').title()}: {v}" for n, v in said.items()),
                "",
                *table(truth),
            ]
        elif way == "pairs":
            pairs = [f"{n.replace('_', ' ')},{said[n]}" for n in names]
            rows = [",".join(pairs[i : i + 3]) for i in range(0, len(pairs), 3)] + [
                "",
                *table(truth),
            ]
        elif way == "over values":
            rows = [
                ",".join(n.replace("_", " ") for n in names),
                ",".join(str(said[n]) for n in names),
                "",
                *table(truth),
            ]
        else:
            shown = [f"{n.replace('_', ' ').capitalize()}: {v}" for n, v in said.items()]
            head = ["   ".join(shown[i : i + 2]) for i in range(0, len(shown), 2)]
            body = [f"{'RPM':>8}{'TORQUE':>10}{'POWER':>10}"]
            body += [f"{r:8.0f}{t:10.1f}{power(t, r):10.1f}" for r, t in truth.curve]
            rows = ["TERN QUAY DYNO", *head, "", *body]
        yield _one(text(rows), truth, name="report.txt" if way == "spaces" else "report.csv")


@kind("rows around the readings")
def _(rng):
    for way in ("units", "average", "max", "both", "blank"):
        truth = engine(rng)
        rows = table(truth, heads=("RPM", "Torque", "Power"))
        if way in ("units", "both"):
            rows.insert(1, "rpm,lb-ft,hp")
        if way in ("average", "both"):
            mean = sum(t for _, t in truth.curve) / len(truth.curve)
            rows.append(f"AVG,{mean:.1f},210.0")
        if way in ("max", "both"):
            rows += [
                f"MAX,{max(t for _, t in truth.curve):.1f},300.0",
                f"Peak TQ,{max(t for _, t in truth.curve):.1f} @ 3500",
            ]
        if way == "blank":
            rows = [rows[0], "", *rows[1:6], ",,", *rows[6:], ",,", ""]
        yield _one(text([*lines(truth.values), *rows]), truth)


@kind("headings in two rows")
def _(rng):
    truth = engine(rng)
    there = Truth(truth.values, [(r, 1.062 * t) for r, t in truth.curve], decoy=1 / 1.062)
    body = table(truth, heads=("x",), kinds="rtcpd")[1:]
    for upper, lower in (
        (",Torque,,Power,", "rpm,obs,corr,obs,corr"),
        ("RPM,Torque (lb-ft),,Power (hp),", ",observed,corrected,observed,corrected"),
    ):
        yield _one(text([*lines(truth.values), upper, lower, *body]), there)
    rows: list[list[object]] = [[n, v] for n, v in truth.values.items()]
    at = len(rows) + 1
    rows += [["RPM", "Torque", None, "Power", None], [None, "obs", "corr", "obs", "corr"]]
    rows += [[float(c) for c in row.split(",")] for row in body]
    yield _one(
        xlsx({"Pull": rows}, {"Pull": [f"B{at}:C{at}", f"D{at}:E{at}"]}), there, name="merged.xlsx"
    )


@kind("pulls side by side and below one another")
def _(rng):
    truth = engine(rng)
    rows = [
        "rpm,torque,rpm,torque",
        *(f"{r:.0f},{t},{r:.0f},{t * 1.004:.1f}" for r, t in truth.curve),
    ]
    yield _one(text([*lines(truth.values), *rows]), truth)
    rows = [
        "rpm,torque run 1,torque run 2",
        *(f"{r:.0f},{t},{t * 1.004:.1f}" for r, t in truth.curve),
    ]
    yield _one(text([*lines(truth.values), *rows]), truth)
    yield _one(text([*lines(truth.values), *table(truth), "Run 2", *table(truth)]), truth)
    rows = [
        "rpm,torque,run",
        *(f"{r:.0f},{t},1" for r, t in truth.curve),
        *(f"{r:.0f},{t * 1.003:.1f},2" for r, t in truth.curve),
    ]
    yield _one(text([*lines(truth.values), *rows]), truth)


@kind("a column a run")
def _(rng):
    truth = engine(rng)
    rows = ["Torque (lb-ft),,,", "RPM,Run 1,Run 2,Run 3"]
    rows += [f"{r:.0f},{t},{t * 1.003:.1f},{t * 0.998:.1f}" for r, t in truth.curve]
    yield _one(text([*lines(truth.values), *rows]), truth)
    yield _one(text([*lines(truth.values), *rows[1:]]))


@kind("one row an engine, a column a speed")
def _(rng):
    for style in ("TQ@{}", "Torque {} rpm", "lb-ft @ {}"):
        made = [engine(rng, sheet_id=f"e{i}") for i in range(3)]
        for truth in made:
            best = max(t for _, t in truth.curve)
            truth.curve = [
                (float(r), round(best * (1 - 0.3 * ((r - 3600) / 3600) ** 2), 1))
                for r in range(2000, 5250, 250)
            ]
        names = list(made[0].values)
        rows = [",".join([*names, *(style.format(f"{r:.0f}") for r, _ in made[0].curve)])]
        rows += [
            ",".join([*(str(m.values[n]) for n in names), *(str(t) for _, t in m.curve)])
            for m in made
        ]
        yield _one(text(rows), *made, name="engines.csv")


@kind("a tab an engine")
def _(rng):
    made = [engine(rng, sheet_id=f"tab{i}") for i in range(3)]
    tabs = {
        f"Engine {i}": [
            ["Tern Quay"],
            *([n.replace("_", " ").title(), v] for n, v in m.values.items()),
            [],
            *grid(m),
        ]
        for i, m in enumerate(made)
    }
    for data, name in ((xlsx(tabs), "book.xlsx"), (xls(tabs), "book.xls"), (ods(tabs), "book.ods")):
        yield _one(data, *made, name=name)


@kind("two tables, the name on the first row")
def _(rng):
    made = [engine(rng, sheet_id=f"s{i}") for i in range(3)]
    names = list(made[0].values)
    builds = [",".join(names), *(",".join(str(m.values[n]) for n in names) for m in made)]
    pulls = ["sheet_id,rpm,torque"]
    for m in made:
        pulls += [
            f"{m.values['sheet_id'] if i == 0 else ''},{r:.0f},{t}"
            for i, (r, t) in enumerate(m.curve)
        ]
    yield Case("", {"builds.csv": text(builds), "pulls.csv": text(pulls)}, made)
    rows = lambda lines_: [[c or None for c in line.split(",")] for line in lines_]  # noqa: E731
    for write, name in ((xlsx, "b.xlsx"), (xls, "b.xls"), (ods, "b.ods")):
        yield _one(write({"builds": rows(builds), "pulls": rows(pulls)}), *made, name=name)


@kind("one table, a reading a row")
def _(rng):
    made = [engine(rng, sheet_id=f"r{i}") for i in range(2)]
    names = list(made[0].values)
    for every in (True, False):
        rows = [",".join([*names, "rpm", "torque"])]
        for m in made:
            for i, (r, t) in enumerate(m.curve):
                own = [str(m.values[n]) if every or i == 0 else "" for n in names]
                rows.append(",".join([*own, f"{r:.0f}", str(t)]))
        yield _one(text(rows), *made, name="long.csv")


@kind("a workbook with formatted empty rows and formulas")
def _(rng):
    truth = engine(rng)
    head: list[list[object]] = [[n, v] for n, v in truth.values.items()]
    yield _one(
        xlsx({"Pull": [*head, [], *grid(truth), *([[None, None]] * 800)]}), truth, name="long.xlsx"
    )
    rows = grid(truth)
    for at, row in enumerate(rows[1:], len(head) + 2):
        row[2] = f"=A{at}*B{at}/5252"
    yield _one(xlsx({"Pull": [*head, *rows]}), truth, name="formulas.xlsx")


@kind("a separator line")
def _(rng):
    for mark in (";", ",", "\t"):
        truth = engine(rng)
        rows = [
            f"sep={mark}",
            *(f"{n}{mark}{v}" for n, v in truth.values.items()),
            "",
            *table(truth, mark=mark),
        ]
        yield _one(text(rows), truth)


@kind("German and Spanish sheets")
def _(rng):
    for language in ("de", "es"):
        for encoding in ("utf-8", "cp1252", "utf-16"):
            truth = _metric(
                observed(engine(rng, intake_type="dual plane", fuel="gasoline", timing=34))
            )
            v = truth.values
            size = metric(v)
            de = {"Zylinder": v["cylinders"], "Bohrung": size["bore"], "Hub": size["stroke"], "Verdichtung": v["compression_ratio"],
                  "Steuerzeit Einlass": v["intake_duration"], "Steuerzeit Auslass": v["exhaust_duration"], "Spreizung": v["lobe_separation"],
                  "Saugrohr": "Zweiebenen", "Kraftstoff": "Benzin", "Zündzeitpunkt": v["timing"], "Korrektur": "unkorrigiert",
                  "Lufttemperatur": "24 °C", "Luftdruck": "999 hPa", "Luftfeuchte": "45 %"}  # fmt: skip
            es = {"Cilindros": v["cylinders"], "Diámetro": size["bore"], "Carrera": size["stroke"], "Relación de compresión": v["compression_ratio"],
                  "Duración de admisión": v["intake_duration"], "Duración de escape": v["exhaust_duration"], "Separación de lóbulos": v["lobe_separation"],
                  "Admisión": "doble plano", "Combustible": "gasolina", "Encendido": v["timing"], "Corrección": "sin corregir",
                  "Temperatura del aire": "24 °C", "Presión atmosférica": "999 hPa", "Humedad": "45 %"}  # fmt: skip
            said, heads = (
                (de, "Drehzahl [1/min];Drehmoment [Nm];Leistung [kW]")
                if language == "de"
                else (es, "Régimen (rpm);Par (N.m);Potencia (kW)")
            )
            rows = [f"{n};{str(x).replace('.', ',')}" for n, x in said.items()]
            rows += [
                "",
                heads,
                *(line.replace(".", ",") for line in table(truth, kinds="rnk", mark=";")[1:]),
            ]
            there = {k: x for k, x in v.items() if k != "arrangement"} | {
                "air_temperature": 75.2,
                "barometer": 29.50,
            }
            yield _one(text(rows, encoding), Truth(there, truth.curve), name="blatt.csv")


# --- carriers ---------------------------------------------------------------------------------------


@kind("carriers")
def _(rng):
    for encoding, end in (
        ("utf-8-sig", "\r\n"),
        ("utf-16", "\n"),
        ("cp1252", "\r\n"),
        ("utf-8", "\r"),
    ):
        truth = engine(rng, notes="Prüfstand")
        yield _one(text([*lines(truth.values), *table(truth)], encoding, end), truth)
    truth = engine(rng)
    tab = [*([n, v] for n, v in truth.values.items()), *grid(truth)]
    for write, name in ((xlsx, "a.xlsx"), (xls, "a.xls"), (ods, "a.ods")):
        yield _one(write({"Sheet1": tab}), truth, name=name)
    for gap in (10, 14):
        truth = engine(rng)
        body = [f"{'RPM':<{gap}}{'TQ':<{gap}}{'HP':<{gap}}", "-" * 3 * gap]
        body += [
            "".join(f"{c:<{gap}}" for c in (cell("r", r, t), cell("t", r, t), cell("p", r, t)))
            for r, t in truth.curve
        ]
        yield _one(text([*lines(truth.values), *body]), truth)
        head = [f"{n.replace('_', ' ').title():<22}: {v}" for n, v in truth.values.items()]
        yield _one(text(["DYNO PRINT", *head, "", *body]), truth, name="print.txt")
