"""Short runs of the fuzzers; ``make fuzz`` does the long ones."""

import fuzz_bundles
import pytest
from fuzz_reader import run


@pytest.mark.slow
def test_no_input_breaks_the_reader():
    met = run(1500)
    assert met["inputs"] >= 1000
    # Hypothesis draws on constants of whatever modules are loaded, so the count is not always one.
    assert met["accepted"] > 25
    assert met["refused"] > 300


@pytest.mark.slow
def test_no_crafted_bundle_crashes_hangs_or_answers_wrongly():
    found = fuzz_bundles.crafted(60, seed=3)
    assert found["faults"] == []
    assert found["refused"] > 30
    assert found["answered"] > 5


def test_no_damaged_bundle_is_taken():
    assert fuzz_bundles.damaged(100, seed=3) == 100


def test_the_slow_reader_agrees_on_the_sound_bundle():
    assert fuzz_bundles.disagreement(fuzz_bundles.SMALL) is None
