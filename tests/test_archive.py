"""Archives as shops have them: read as a person reads them, and no wrong number in silence."""

from collections import Counter

import pytest
from archive_kinds import KINDS, corpus
from archive_reading import judge
from fuzz_archive import run

FEWEST = 300


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory):
    folder = tmp_path_factory.mktemp("archive")
    return [
        (case, judge(case, folder / str(number))) for number, case in enumerate(corpus(of_each=1))
    ]


def test_no_number_is_wrong_in_silence(outcomes):
    silent = [
        (case.kind, *case.files, found.why) for case, found in outcomes if found.what == "silent"
    ]
    assert silent == []


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_read_as_a_person_reads_it(outcomes, kind):
    fine = ("right", "settled", "rightly refused")
    others = [found for case, found in outcomes if case.kind == kind and found.what not in fine]
    assert others == []


@pytest.mark.slow
def test_other_engines_are_read_as_well(tmp_path):
    """Another seed: 300 cases and more, of which not one is wrong or refused without need."""
    found = Counter(
        judge(case, tmp_path / str(number)).what
        for number, case in enumerate(corpus(seed=2026, of_each=2))
    )
    assert sum(found.values()) >= FEWEST
    assert set(found) == {"right", "settled", "rightly refused"}


@pytest.mark.parametrize("cases", [300, pytest.param(4000, marks=pytest.mark.slow)])
def test_a_spoiled_sheet_is_right_refused_or_warned_of(cases):
    """``make fuzz`` does 20,000."""
    met, silent = run(cases, seed=7)
    assert silent == []
    assert met["right"] > cases / 2
    assert met["refused"] > cases / 10
