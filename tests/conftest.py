"""Settings for the whole test run: how hard the generated cases are tried."""

import os

from hypothesis import settings

# `quick` is for every run and, where CI is set, draws the same cases each time, so that a red run means a
# change in the code. `thorough` is for a release or a night: TRACER_TESTS=thorough pytest -n auto
settings.register_profile("quick", deadline=None, max_examples=60, derandomize="CI" in os.environ)
settings.register_profile("thorough", deadline=None, max_examples=3000, print_blob=True)

_profile = os.environ.get("TRACER_TESTS", "quick")
if _profile not in ("quick", "thorough"):
    raise ValueError(f"TRACER_TESTS is {_profile!r}; it can be quick or thorough")
settings.load_profile(_profile)
