"""Shell completion as the shell asks for it: names of the folder that `-C` names, and nothing where it cannot be read."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
PROGRAM = "import sys; sys.argv[0] = 'tracer'; from tracer.cli import main; main()"


def offered(line: str) -> list[str]:
    """What bash offers for the last word of a line."""
    words = line.split(" ")
    environment = {
        **os.environ,
        "_TRACER_COMPLETE": "complete_bash",
        "COMP_WORDS": line,
        "COMP_CWORD": str(len(words) - 1),
    }
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    return done.stdout.split()


@pytest.mark.parametrize(
    ("line", "names"),
    [
        ("tracer sup", ["supplies"]),
        ("tracer -C circuits/minibus supplies A", ["ALM"]),
        ("tracer -C circuits/minibus volts AL", ["ALM"]),
        ("tracer -C circuits/minibus volts ALM --key ", ["acc", "off", "run", "start"]),
        ("tracer -C circuits/minibus volts ALM --open F5", ["F5", "F50", "F51", "F52", "F53", "F54", "F55", "F56", "F57"]),
        ("tracer -C circuits/minibus affects F2", ["F2", "F20", "F21", "F22", "F23", "F24", "F25", "F26", "F27", "F28", "F29"]),
        ("tracer -C circuits/minibus panel ", ["FPC", "FPE"]),
        ("tracer -C circuits/minibus bus d", ["diagnostic", "drive"]),
        ("tracer -C circuits/minibus diagram A", ["ALM"]),
        ("tracer -C circuits/none supplies A", []),
    ],
)  # fmt: skip
def test_names_are_offered(line: str, names: list[str]) -> None:
    assert sorted(offered(line)) == sorted(names)
