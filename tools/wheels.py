"""Is there a ready-made package of every locked dependency for each desk and each Python? `python tools/wheels.py` asks the index and says what is missing.

Asked is `uv`, as an installer would ask, without installing anything: nobody in a workshop has a compiler.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PYTHONS = ("3.11", "3.12", "3.13")
DESKS = {
    "Windows": "x86_64-pc-windows-msvc",
    "macOS, Apple chip": "aarch64-apple-darwin",
    "macOS, Intel chip": "x86_64-apple-darwin",
    "Linux": "x86_64-manylinux_2_28",
    "Linux, ARM": "aarch64-manylinux_2_28",
}


def missing(uv: str, lock: Path, platform: str, python: str) -> str:
    """What uv says is missing; empty where everything is there."""
    with tempfile.TemporaryDirectory() as nowhere:
        done = subprocess.run(
            [uv, "pip", "install", "--dry-run", "--quiet", "--no-deps", "--only-binary", ":all:", "--require-hashes", "--no-config",
             "--python", sys.executable, "--python-platform", platform, "--python-version", python, "--target", nowhere, "-r", str(lock)],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
    return "" if done.returncode == 0 else done.stderr.strip() or "uv failed without a word"


def main() -> int:
    """One line for each desk and Python; exit status 1 where something is missing."""
    beside = Path(sys.executable).with_name("uv")
    uv = str(beside) if beside.exists() else shutil.which("uv")
    if uv is None:
        print("uv is not installed: `make lock` and this script need it (it is in the dev group).", file=sys.stderr)
        return 2
    status = 0
    for python in PYTHONS:
        for desk, platform in DESKS.items():
            said = missing(uv, ROOT / "requirements.lock", platform, python)
            print(f"Python {python}, {desk}: {said or 'all there'}")
            status |= bool(said)
    return status


if __name__ == "__main__":
    sys.exit(main())
