"""`make bench`: every benchmark of this folder as a table of ratios. Exit status 1 when one is not met."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))


def main() -> int:
    """Run every `bench_*.py` and print its ratios."""
    met = True
    print(f"{'job':<66}{'ours':>9} {'yardstick':>9} {'':<3}{'ratio':>7}")
    for path in sorted(Path(__file__).parent.glob("bench_*.py")):
        if len(sys.argv) > 1 and path.stem not in sys.argv[1:]:
            continue
        module = importlib.import_module(f"benchmarks.{path.stem}")
        for ratio in module.ratios():
            print(ratio.line(), flush=True)
            met = met and ratio.met
    return 0 if met else 1


if __name__ == "__main__":
    raise SystemExit(main())
