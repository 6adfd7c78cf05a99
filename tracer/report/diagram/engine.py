"""The layout engine: dot, as the program that the package `graphviz-pure` brings, or the system's own by option."""

from __future__ import annotations

import json
import shutil
import subprocess
from functools import cache
from importlib import metadata

from tracer.entry.problems import CannotCompute


class NoEngine(CannotCompute, RuntimeError):
    """The layout engine cannot be run; the message says what to do."""


@cache
def program(engine: str) -> str:
    """The path of the engine's program.

    Raises
    ------
    NoEngine : it is not installed
    """
    if engine == "dot":
        found = shutil.which("dot")
        if found is None:
            raise NoEngine(
                "there is no `dot` on this system. Leave `--engine` out to use the one that was installed with tracer."
            )
        return found
    try:
        files = metadata.files("graphviz-pure") or []
    except metadata.PackageNotFoundError:
        files = []
    for file in files:
        if file.name in ("graphviz-pure", "graphviz-pure.exe"):
            return str(file.locate())
    raise NoEngine("the layout engine is missing. Install it with `pip install graphviz-pure`, or use `--engine dot`.")


def positions(dot_text: str, engine: str = "pure") -> dict[str, tuple[float, float]]:
    """Where dot puts each node: its centre in points, y upwards.

    Raises
    ------
    NoEngine : the engine is missing, or does not answer as it should
    """
    try:
        answer = subprocess.run(
            [program(engine), "-Kdot", "-Tjson0", "-q"],
            input=dot_text.encode(),
            capture_output=True,
            check=True,
            timeout=120,
        )
        objects = json.loads(answer.stdout)["objects"]
    except (OSError, subprocess.SubprocessError, ValueError, KeyError) as error:
        said = getattr(error, "stderr", b"") or b""
        raise NoEngine(f"the layout engine failed: {error} {said.decode(errors='replace')[:200]}".strip()) from error
    found = {}
    for one in objects:
        if "pos" in one:
            x, y = one["pos"].split(",")[:2]
            found[one["name"]] = (float(x), float(y))
    return found
