"""Rules of units and labels are held by the archive: each of them changed is noticed."""

import pytest
from archive_kinds import corpus
from archive_reading import judge

from pullbook.pipeline.layout import heading_rows, pull_block, runs_of_builds
from pullbook.pipeline.reading import choose_columns, parse_sheet, pull_units, sweeps
from pullbook.pipeline.values import bare_numbers, unit_proof
from pullbook.pipeline.vocabulary import column_heading, units, words

FINE = {"right", "settled", "rightly refused"}
#: Words of a kind that the archive writes, and what a mistake would take them for.
_SAE, _DIN, _STP = "SAE J1349", "DIN 70020", "SAE J607"


def _spelling(field_unit, word, unit):
    return units._SPELLINGS[field_unit], word, unit


def _word(field, word, choice):
    return words.CUSTOMARY[field], word, choice


ENTRIES = {
    "N.m is lb-ft": _spelling("lb-ft", "nm", "foot*force_pound"),
    "kgf.m is N.m": _spelling("lb-ft", "mkp", "newton*meter"),
    "kW is hp": _spelling("hp", "kw", "horsepower"),
    "PS is kW": _spelling("hp", "ps", "kilowatt"),
    "mmHg is hPa": _spelling("inHg", "mmhg", "hectopascal"),
    "kPa is hPa": _spelling("inHg", "kpa", "hectopascal"),
    "degC is degF": _spelling("degF", "°c", "degF"),
    "mm is cm": _spelling("in", "mm", "centimeter"),
    "STP is J1349": _word("correction", "stp", _SAE),
    "STD is DIN": _word("correction", "std", _DIN),
    "DIN is J607": _word("correction", "din", _STP),
    "uncorrected is J1349": _word("correction", "uncorrected", _SAE),
    "DP is a single plane": _word("intake_type", "dp", "single plane"),
    "180 degree is a single plane": _word("intake_type", "180degree", "single plane"),
    "a column's obs is corrected": (column_heading._BASIS_OF, "obs", "corrected"),
    "a column's corr is observed": (column_heading._BASIS_OF, "corr", "observed"),
    "a column's STP is DIN": (column_heading._BASIS_OF, "stp", _DIN),
    "CTQ is observed": (column_heading._SHORT_BASES, "c", "observed"),
    "tq is power": (column_heading._QUANTITY_OF, "tq", "power"),
}
CONSTANTS = {
    "any pair of units fits": (unit_proof, "_LEAST", 0.5),
    "no pair of units is proven": (unit_proof, "_FEWEST", 99),
    "a bare pair is never in doubt": (pull_units, "_NEAR", 99.0),
    "any unit is possible": (pull_units, "_POSSIBLE", (0.0, 1e9)),
    "no pressure is a station's": (bare_numbers, "_STATION", (0.0, 1.0)),
    "air is never in degC": (bare_numbers, "_TEMPERATURES", {"air_temperature": (-99.0, -90.0)}),
    "nothing is metric": (parse_sheet, "_METRIC", frozenset()),
    "nothing coasts": (sweeps, "_COASTING", 0.0),
    "nothing idles": (sweeps, "_IDLING", 0.0),
    "nothing is a summary": (pull_block, "_SUMMARY", frozenset()),
    "columns always agree": (choose_columns, "_QUANTITIES", ()),
    "runs are never told apart": (runs_of_builds, "_ask_about_runs", lambda *_: None),
    "two rows of headings are never one": (heading_rows, "_FEWEST", 99),
}


@pytest.fixture(scope="module")
def cases():
    return list(corpus(of_each=1))


def _forget():
    for one in (column_heading.read, words.meant, units.scale):
        one.cache_clear()
    from pullbook.pipeline.vocabulary.headings import PLAIN

    for named in (PLAIN.sheet, PLAIN.pull, PLAIN.pulls):
        named._seen.clear()


def _noticed(cases, folder):
    _forget()
    try:
        return any(
            judge(case, folder / str(number)).what not in FINE for number, case in enumerate(cases)
        )
    except Exception:  # a crash is noticed too
        return True
    finally:
        _forget()


@pytest.mark.slow
@pytest.mark.parametrize("name", ENTRIES)
def test_a_wrong_entry_is_noticed(cases, tmp_path, monkeypatch, name):
    table, key, value = ENTRIES[name]
    assert key in table
    patched = dict(table)
    patched[key] = value
    for module, attribute in ((units, "_SPELLINGS"), (words, "CUSTOMARY")):
        whole = getattr(module, attribute)
        for field, own in whole.items():
            if own is table:
                monkeypatch.setattr(module, attribute, {**whole, field: patched})
    for attribute in ("_BASIS_OF", "_SHORT_BASES", "_QUANTITY_OF"):
        if getattr(column_heading, attribute) is table:
            monkeypatch.setattr(column_heading, attribute, patched)
    assert _noticed(cases, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("name", CONSTANTS)
def test_a_wrong_limit_is_noticed(cases, tmp_path, monkeypatch, name):
    module, attribute, value = CONSTANTS[name]
    assert hasattr(module, attribute)
    monkeypatch.setattr(module, attribute, value)
    assert _noticed(cases, tmp_path)


def test_nothing_is_noticed_where_nothing_was_changed(cases, tmp_path):
    assert not _noticed(cases, tmp_path)
