"""Expected outputs kept as plain files in tests/golden, compared character by character.

``make golden`` rewrites them; a person reads the diff before it is committed.
"""

import difflib
import os
from pathlib import Path

FOLDER = Path(__file__).parent / "golden"


def check_golden(name: str, text: str) -> None:
    """Compare a text with the golden file of that name, exactly, or write it with TRACER_GOLDEN=write.

    Parameters
    ----------
    name : path below tests/golden with forward slashes, such as ``minibus/report.txt``
    text : what the program gives now; line ends count

    Raises
    ------
    AssertionError : the file is missing or differs; the message is a unified diff
    ValueError : TRACER_GOLDEN is neither unset nor ``write``, or asks for writing on CI; or the name
        leads out of the folder
    """
    file = FOLDER / name
    if not file.resolve().is_relative_to(FOLDER.resolve()):
        raise ValueError(f"golden file {name!r} is outside {FOLDER}")
    if writing():
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(text.encode())
        return
    if not file.is_file():
        raise AssertionError(f"no golden file {name}; look at the output, then write it: make golden\n{text}")
    # Bytes, so that no line end is translated on the way.
    expected = file.read_bytes().decode()
    if expected != text:
        raise AssertionError(f"output differs from tests/golden/{name}\n{_difference(expected, text)}")


def writing() -> bool:
    """Whether expected outputs are to be written."""
    mode = os.environ.get("TRACER_GOLDEN", "")
    if mode not in ("", "write"):
        raise ValueError(f"TRACER_GOLDEN is {mode!r}; it can be unset, or 'write'")
    if mode and "CI" in os.environ:
        raise ValueError("TRACER_GOLDEN=write on CI would make every comparison pass")
    return bool(mode)


def _difference(expected: str, actual: str) -> str:
    """Return a unified diff in which blanks at a line's end, and odd line ends, can be seen."""
    lines = difflib.unified_diff(
        expected.split("\n"), actual.split("\n"), fromfile="expected", tofile="actual", lineterm=""
    )
    return "\n".join(_visible(line) for line in lines)


def _visible(line: str) -> str:
    sign, rest = line[:1], line[1:]
    bare = rest.rstrip(" \t\r")
    # An empty context line is only the sign, and stays so.
    tail = rest[len(bare) :].replace(" ", "·").replace("\t", "⇥").replace("\r", "␍")
    return sign + bare + tail
