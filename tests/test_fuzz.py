"""A short run of the fuzzer; ``make fuzz`` does the long one."""

import pytest
from fuzz_reader import run


@pytest.mark.slow
def test_no_input_breaks_the_reader():
    met = run(1500)
    assert met["inputs"] >= 1000
    # Hypothesis draws on constants of whatever modules are loaded, so the count is not always one.
    assert met["accepted"] > 25
    assert met["refused"] > 300
