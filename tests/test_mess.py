"""Every planted fault is found, and no clean sheet is refused, whatever form it is written in."""

import pytest
from mess import FAULTS, tally


@pytest.mark.parametrize("seed", [1, pytest.param(20, marks=pytest.mark.slow)])
def test_planted_faults_are_found_and_clean_sheets_left_alone(seed):
    hits, planted, alarms, refused, count = tally(seed)
    assert {
        fault: planted[fault] - hits[fault] for fault in FAULTS if hits[fault] < planted[fault]
    } == {}
    assert refused == []
    # What is rare is warned of: of clean sheets, no more than one in thirty for any one reason.
    assert count > 250
    assert max(alarms.values(), default=0) <= count / 30
