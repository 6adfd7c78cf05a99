"""What one reading says of its row, and in which words: each way to judge once, as a technician would read it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.case.making import demo_plan, in_memory
from tests.case.test_care import OFF, RUN, typed
from tracer.case.judged import Says, judged
from tracer.case.readings import Conditions

SMALL, LARGE, PLUGGED = replace(OFF, lamp_w=5.0), replace(OFF, lamp_w=55.0), replace(OFF, plugged=True)
LIVE, ONLY_IN_RUN, HANGS, TWO_WAYS, GROUND = "ALM.3:+", "ALM.4:+", "ALM.2:+", "ALM.8:+", "ALM.20:-"
ANOTHER_WAY = "read in another way than the plan asks for (key off, lamp 21 W)"


@pytest.mark.parametrize(
    ("row", "text", "on", "says", "reason"),
    [
        # a supply that must be live: battery 12.4 V, at most 0.33 V by the lamp, 0.01 V without
        (LIVE, "12.4/12.25", OFF, Says.PASSES, ""),
        (LIVE, "12.4/12.07", OFF, Says.PASSES, ""),
        (LIVE, "12.4/12.0", OFF, Says.NEAR, "the lamp moves it by 0.40 V, at most 0.33 V is in order; too near to tell"),
        (LIVE, "12.4/3.0", OFF, Says.BAD, "dead under the lamp, key off"),
        (LIVE, "12.4/dim", OFF, Says.BAD, "dim with the lamp, key off"),
        (LIVE, "12.4/flickers", OFF, Says.BAD, "flickers with the lamp, key off"),
        (LIVE, "12.4/dead", OFF, Says.BAD, "dead with the lamp, key off"),
        (LIVE, "dead", OFF, Says.BAD, "dead alone, key off"),
        (LIVE, "OL", OFF, Says.BAD, "dead alone, key off"),
        (LIVE, "12.4", OFF, Says.LISTED, "volts without a lamp do not count: a single strand shows them too"),
        (LIVE, "12.2/12.05", OFF, Says.UNCLEAR, "without the lamp 0.20 V is lost, at most 0.01 V is in order; read battery and pin once more"),
        (LIVE, "12.4/12.45", OFF, Says.UNCLEAR, "the lamp moves it the wrong way, by 0.05 V: the values are ALONE/LAMP"),
        (LIVE, "12.4/12.39", OFF, Says.UNCLEAR, "the lamp moves it by 0.01 V only: was it lit, and at this pin?"),
        (LIVE, "12.4/lt12.3", OFF, Says.UNCLEAR, "a bound (lt) is too wide here: read the volts"),
        # read in another way: only what a smaller lamp finds bad is bad
        (LIVE, "12.4/12.2", SMALL, Says.OTHERWISE, ANOTHER_WAY),
        (LIVE, "12.4/11", SMALL, Says.BAD, "the lamp moves it by 1.40 V, at most 0.33 V is in order"),
        (LIVE, "12.4/11", LARGE, Says.OTHERWISE, ANOTHER_WAY),
        (LIVE, "12.4/12.2", replace(OFF, out=("F1",)), Says.OTHERWISE, ANOTHER_WAY),
        # plugged in, only a dead pin says something
        (LIVE, "dead", PLUGGED, Says.BAD, "dead plugged in, key off"),
        (LIVE, "12.4/12.2", PLUGGED, Says.NOTHING, "plugged in: a pin may read good through its neighbour, so it does not count"),
        # where it must be dead
        (ONLY_IN_RUN, "dead", OFF, Says.LISTED, "dead in off, as it must be"),
        (ONLY_IN_RUN, "12.3/dead", OFF, Says.LISTED, "dead in off, as it must be"),
        (ONLY_IN_RUN, "12.3/0.1", OFF, Says.LISTED, "dead in off, as it must be"),
        (ONLY_IN_RUN, "lt0.5", OFF, Says.LISTED, "dead in off, as it must be"),
        (ONLY_IN_RUN, "12.3/dim", OFF, Says.WRONG, "live in off, where it must be dead"),
        (ONLY_IN_RUN, "dim", OFF, Says.WRONG, "live in off, where it must be dead"),
        (ONLY_IN_RUN, "12.3/12.1", OFF, Says.WRONG, "live in off, where it must be dead"),
        (ONLY_IN_RUN, "lt9", OFF, Says.NOTHING, "lt9 does not say whether it is dead in off"),
        (ONLY_IN_RUN, "dead", RUN, Says.BAD, "dead alone, key run"),
        # what hangs on something may be dead
        (HANGS, "dead", OFF, Says.NOTHING, "dead in off, where it need not be live"),
        (TWO_WAYS, "12.3/11.9", replace(RUN, lamp_w=5.0), Says.OTHERWISE,
         "read in another way than the plan asks for (key acc, lamp 5 W; or key run, lamp 5 W, F24 out; or key run, lamp 5 W, F20 out)"),
        # a ground
        (GROUND, "12.3/12.3", SMALL, Says.BAD, "no ground alone, key off"),
        (GROUND, "0/12.3", SMALL, Says.BAD, "no ground under the lamp, key off"),
        (GROUND, "0/3", SMALL, Says.BAD, "the lamp moves it by 3.00 V, at most 0.02 V is in order"),
        (GROUND, "0/.01", SMALL, Says.UNCLEAR, "the volts do not show that the lamp was lit: read it once more, with /lit behind the values if it is"),
    ],
)  # fmt: skip
def test_what_a_reading_says(row: str, text: str, on: Conditions, says: Says, reason: str) -> None:
    one = typed(row, text, on)
    found = judged(in_memory(demo_plan(), [one]), row, one)
    assert (found.says, found.reason) == (says, reason)
