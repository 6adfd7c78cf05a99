"""The calls of docs/using-from-python.md: what the page shows runs, and what it names is there."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import tracer
from tracer.public import VALUES

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "docs" / "using-from-python.md").read_text(encoding="utf-8")


def test_the_example_of_the_page_runs() -> None:
    first, second = re.findall(r"```python\n(.*?)```", PAGE, flags=re.DOTALL)
    done = subprocess.run([sys.executable, "-c", first + second], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("COMPLETE\nS1 ALM.2 ")
    assert "\nS2 ALM.3 live 12.2" in done.stdout
    assert re.search(r"\nMultiGraph named 'Quillam Otterby minibus.*' with \d+ nodes and \d+ edges\n", done.stdout)
    assert re.search(
        r"\n\d+ wire ALM\.4 X4\.2, towards ALM BK/YE 1 0\.7m sheet 5 line 95\n\['ALM\.4', .*\]\n", done.stdout
    )
    assert re.search(r"\n\d+ blocks\n$", done.stdout)


def test_every_public_name_is_there_and_on_the_page() -> None:
    for name in tracer.__all__:
        assert getattr(tracer, name) is not None
        if name[0].islower() or name.startswith(("Unknown", "Cannot", "Bad")):
            assert f"{name}" in PAGE, name
    with pytest.raises(AttributeError):
        _ = tracer.no_such_name


def test_the_names_for_the_type_checker_are_those_at_run_time() -> None:
    source = Path(tracer.__file__).read_text(encoding="utf-8")
    public = set(re.findall(r"^    from [\w.]+ import (\w+) as \1$", source, flags=re.MULTILINE))
    calls = {name for name in tracer.__all__ if name[0].islower()}
    assert public == VALUES.keys()
    assert {
        "load",
        "check",
        "supplies",
        "states",
        "panels",
        "affects",
        "common",
        "volts",
        "bus",
        "draw",
        "diagram",
        "worksheet",
    } <= calls


def test_paper_is_made_by_a_call() -> None:
    tracing = tracer.Tracing(tracer.load(ROOT / "circuits" / "minibus"))
    assert b"ALM.2" in tracer.worksheet(tracing, "ALM", "csv").files[0]
    (drawing,) = tracer.diagram(tracing, "ALM", "svg", key="run").files
    assert b"<svg" in drawing
    assert tracer.check(tracing).complete
    with pytest.raises(tracer.UnknownKeyState):
        tracer.diagram(tracing, "ALM", "svg", key="rum")
    with pytest.raises(tracer.CannotAnswer, match="no resistance"):
        tracer.bus_reading(tracing, tracer.bus(tracing, "drive"), "many", "ALM")


def test_a_circuit_and_a_tracing_of_it_are_taken_alike() -> None:
    circuit = tracer.load(str(ROOT / "circuits" / "minibus"))
    tracing = tracer.Tracing(circuit)
    assert tracer.volts(circuit, "ALM", "run").rows == tracer.volts(tracing, "ALM", "run").rows
    assert tracer.affects(circuit, "F50") == tracer.affects(tracing, "F50")
    assert tracer.common(circuit, ["ALM", "BDM"]) == tracer.common(tracing, ["ALM", "BDM"])
    assert tracer.panels(circuit) == tracer.panels(tracing)
    assert tracer.bus(circuit, "drive").terminations == tracer.bus(tracing, "drive").terminations


def test_what_is_not_there_is_said() -> None:
    circuit = tracer.load(str(ROOT / "circuits" / "minibus"))
    with pytest.raises(tracer.UnknownModule):
        tracer.volts(circuit, "ALMM", "run")
    with pytest.raises(ValueError, match="rum"):
        tracer.volts(circuit, "ALM", "rum")
    with pytest.raises(tracer.UnknownBus):
        tracer.bus(circuit, "drve")
    with pytest.raises(tracer.UnknownPart):
        tracer.affects(circuit, "F999")
    with pytest.raises(tracer.UnknownPanel):
        tracer.panels(circuit, "FPX")
