"""`tracer next` on vehicles that make no sense, with readings that make none: there is an answer, and what explains adds up to everything."""

from __future__ import annotations

import json
import os
import random
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings

import tracer
from tests.case.making import in_memory, reading
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tracer.case.opening import kept_plan
from tracer.case.readings import Conditions
from tracer.diagnose.next import next_of
from tracer.report.next import as_data, as_text
from tracer.trace.tracing import Tracing

EXAMPLES = 300 if os.environ.get("TRACER_TESTS") == "thorough" else 15


@settings(max_examples=EXAMPLES, deadline=None)
@given(typed_vehicles())
def test_there_is_an_answer_to_whatever_was_read(typed: TypedVehicle) -> None:
    with TemporaryDirectory() as folder:
        tracing = Tracing(tracer.load(typed.write(Path(folder) / "v")))
    made = kept_plan(tracing, tracer.supplies(tracing, "M"), tracer.limits(tracing))
    plan = json.loads(json.dumps(made))
    rng = random.Random(len(plan["words"]))
    for name, row in plan["rows"].items():
        for test in row["tests"][:1]:
            if not test["key"]:
                continue
            on = Conditions(
                key=test["key"], plugged=rng.random() < 0.2, lamp_w=test["lamp_w"], out=tuple(test["out"]), symptom=True,
                battery_v=12.5, leads=tuple("-".join(lead) for lead in test["leads"]),
            )  # fmt: skip
            count = 1 if on.plugged or on.lamp_w is None else 2
            at = [name, name, *rng.sample(sorted(plan["points"]), min(2, len(plan["points"])))]
            read = [reading(one, [rng.choice((0.0, 6.0, 11.0, 12.4))] * count, on, n) for n, one in enumerate(at, 2)]
            case = replace(in_memory(plan, read), conditions=on)
            found = next_of(case)
            assert (found.measurement is None) == bool(found.why_not)
            assert not found.explains or abs(sum(one.share for one in found.explains) - 1.0) < 1e-6
            assert as_text(case, found) and json.dumps(as_data(case, found))
