"""What the check of the demo costs, by dense solves within one run.

The figure to reach: under 10 s on two cores, all that `print` shows of it. Here it is the limit for one core: the second
is room.
"""

import sys
from pathlib import Path

import pytest

import thermostack as ts

sys.path.insert(0, str(Path(__file__).parents[2] / "examples"))

import check_result

pytestmark = pytest.mark.long


def test_check_of_the_demo(once):
    before, after = ts.read_variants(check_result.HERE / "demo" / "part.toml")
    states = [
        ts.State(stack, *(reading for _, reading in check_result.readings("too-small", name)))
        for stack, name in ((before, "before"), (after, "after"))
    ]
    ts.predict(before)  # what is loaded when first used

    def checked():
        found = ts.check(*states)
        return found, str(found)

    (found, shown), seconds = once(checked)
    assert found.causes.ranked[0].name == "lid standing on its rim"
    assert "What to measure next" in shown
    assert seconds < 10.0
