"""A short run of the fuzzer; ``make fuzz`` does the long one."""

from fuzz_reader import run


def test_no_input_breaks_the_reader():
    met = run(1500)
    assert met["inputs"] >= 1000
    assert met["accepted"] > 50
    assert met["refused"] > 300
