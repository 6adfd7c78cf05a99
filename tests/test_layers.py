"""The order of the folders, a quick start, and files that name no particular machine.

The imports are read from the source, not observed, so that one inside a function or behind
``TYPE_CHECKING`` counts as well.
"""

import ast
import re
import subprocess
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib import import_module
from inspect import isfunction
from pathlib import Path

import networkx
import pytest

from tracer.trace.lists.completeness import Answer

ROOT = Path(__file__).resolve().parents[1]

# Nothing imports from its right.
LAYERS = ("standards", "entry", "circuit", "trace", "electrics", "plan", "case", "diagnose", "report", "page", "cli")
# What stands outside the order: the front door of the package, and the names that it gives. They may import from
# every layer; of the front door the layers may ask only for the version.
OUTSIDE = ("__init__", "public")
FRONT_DOOR_NAMES = frozenset({"__version__"})

# Start-up is felt at every call: these are imported inside the function that needs them ...
HEAVY = (
    "graphviz",
    "jinja2",
    "networkx",
    "numpy",
    "pydantic",
    "rich.table",
    "scipy",
    "segno",
    "starlette",
    "typst",
    "uvicorn",
)
# ... except here, by layer.
HEAVY_ALLOWED = {
    "electrics": frozenset({"numpy", "scipy"}),
    "diagnose": frozenset({"numpy"}),
    "entry": frozenset({"pydantic"}),
}


@dataclass(frozen=True)
class Import:
    """One import statement: what it names, in which line, whether it runs when the module is loaded, and whether it is for the type checker only."""

    line: int
    target: str
    at_load: bool
    for_types: bool = False


def imports_in(source: str, module: str, *, is_package: bool) -> Iterator[Import]:
    """Every module and name that the source imports, dotted and absolute.

    ``from a import b`` gives ``a.b``, as b may be a module; ``from a import *`` gives ``a``.
    """
    package = module.split(".") if is_package else module.split(".")[:-1]
    yield from _imports_below(ast.parse(source), package, at_load=True)


def _imports_below(node: ast.AST, package: list[str], *, at_load: bool) -> Iterator[Import]:
    for child in ast.iter_child_nodes(node):
        match child:
            case ast.Import(names=names):
                for name in names:
                    yield Import(child.lineno, name.name, at_load)
            case ast.ImportFrom(module=origin, names=names, level=level):
                base = package[: len(package) + 1 - level] if level else []
                start = ".".join([*base, *([origin] if origin else [])])
                for name in names:
                    yield Import(child.lineno, start if name.name == "*" else f"{start}.{name.name}", at_load)
            case ast.Call(func=called, args=[ast.Constant(value=str(target)), *_]) if _loads(called):
                yield Import(child.lineno, target, at_load)
        yield from _imports_in_child(child, package, at_load=at_load)


def _imports_in_child(child: ast.AST, package: list[str], *, at_load: bool) -> Iterator[Import]:
    match child:
        case ast.FunctionDef() | ast.AsyncFunctionDef() | ast.Lambda():
            yield from _imports_below(child, package, at_load=False)
        case ast.If(test=ast.Name(id="TYPE_CHECKING") | ast.Attribute(attr="TYPE_CHECKING")):
            for statement in child.body:
                for found in _imports_below(ast.Module([statement], []), package, at_load=False):
                    yield replace(found, for_types=True)
            for statement in child.orelse:
                yield from _imports_below(ast.Module([statement], []), package, at_load=at_load)
        case _:
            yield from _imports_below(child, package, at_load=at_load)


def _loads(called: ast.expr) -> bool:
    """Whether a call is ``import_module("...")`` or ``__import__("...")``."""
    name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
    return name in ("import_module", "__import__")


def against_the_order(module: str, imported: Import) -> str | None:
    """Return what is wrong with an import of that module, or None."""
    target = imported.target.split(".")
    layer = module.split(".")[1] if "." in module else "__init__"
    if target[0] != "tracer" or layer in OUTSIDE:
        return None
    name = target[1] if len(target) > 1 else ""
    if not name and layer == "cli":
        return None  # the front door itself
    if name in LAYERS:
        wrong = LAYERS.index(name) > LAYERS.index(layer)
        return f"{layer} imports {imported.target}, which stands to its right" if wrong else None
    if name in FRONT_DOOR_NAMES:
        return None
    return f"{layer} imports {imported.target}, which is in no layer"


def too_heavy(module: str, imported: Import) -> str | None:
    """Return which heavy library an import loads together with its module, or None."""
    layer = module.split(".")[1] if "." in module else "__init__"
    for library in HEAVY:
        loads_it = imported.target == library or imported.target.startswith(library + ".")
        if imported.at_load and loads_it and library not in HEAVY_ALLOWED.get(layer, ()):
            return f"{imported.target} is imported when {module} is loaded; import it where it is used"
    return None


def tracer_modules() -> list[tuple[str, Path]]:
    """Name and file of every module in tracer/."""
    found = []
    for file in sorted((ROOT / "tracer").rglob("*.py")):
        parts = file.relative_to(ROOT).with_suffix("").parts
        found.append((".".join(parts[:-1] if parts[-1] == "__init__" else parts), file))
    return found


@cache
def tracer_imports() -> tuple[tuple[str, Path, Import], ...]:
    """Every import below tracer/, with the module and file in which it stands."""
    return tuple(_read_imports())


def _read_imports() -> Iterator[tuple[str, Path, Import]]:
    for module, file in tracer_modules():
        source = file.read_text(encoding="utf-8")
        for imported in imports_in(source, module, is_package=file.name == "__init__.py"):
            yield module, file, imported


# No file is longer than this.
MOST_LINES = 500


def test_no_file_is_too_long_to_be_read_at_once() -> None:
    lengths = {
        str(file.relative_to(ROOT / "tracer")): len(file.read_text(encoding="utf-8").splitlines())
        for _, file in tracer_modules()
    }
    too_long = {name: lines for name, lines in lengths.items() if lines > MOST_LINES}
    assert not too_long, f"longer than {MOST_LINES} lines: {too_long}"


def circles(imports: dict[str, set[str]]) -> list[list[str]]:
    """The circles of imports: modules each of which leads, over others, back to itself (networkx: strongly connected components)."""
    graph = networkx.DiGraph((module, other) for module, others in imports.items() for other in others)
    return [sorted(found) for found in networkx.strongly_connected_components(graph) if len(found) > 1]


def imports_by_module(*, at_load: bool) -> dict[str, set[str]]:
    """For each module those that it imports, for more than types; `at_load` leaves out what is imported inside a function."""
    modules = {module for module, _ in tracer_modules()}
    found: dict[str, set[str]] = {module: set() for module in modules}
    for module, _, imported in tracer_imports():
        target = imported.target if imported.target in modules else imported.target.rpartition(".")[0]
        if not imported.for_types and (imported.at_load or not at_load):
            loaded = {target, target.rpartition(".")[0]}  # a module brings its package along
            found[module] |= {one for one in loaded & modules if not f"{module}.".startswith(f"{one}.")}
    return found


def test_no_circle_of_imports_inside_a_folder() -> None:
    everything = imports_by_module(at_load=False)
    folders = {module.rpartition(".")[0] for module in everything}
    for folder in folders - {"", "tracer"}:
        inside = {
            module: {other for other in others if other.rpartition(".")[0] == folder}
            for module, others in everything.items()
            if module.rpartition(".")[0] == folder
        }
        assert circles(inside) == [], folder
    assert len(folders) > 15


def test_no_circle_of_imports_as_modules_are_loaded() -> None:
    assert circles(imports_by_module(at_load=True)) == []


def test_a_circle_is_found() -> None:
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a", "d"}, "d": set()}) == [["a", "b", "c"]]


def is_below(target: str, names: Iterable[str]) -> bool:
    """Whether a dotted name is one of the names, or stands in one of them."""
    return any(target == name or target.startswith(f"{name}.") for name in names)


# What a command may use beside the front door: how things are shown, how files and messages are made.
CLI_USES = (
    "tracer.case.calls",  # the front door of cases, which need no vehicle
    "tracer.diagnose.calls",  # and of what to measure next in one
    "tracer.page.calls",  # and of the page
    "tracer.cli",
    "tracer.report",
    "tracer.entry.files",
    "tracer.entry.names",
    "tracer.entry.problems",
    "tracer.entry.start",
    "tracer.entry.visible",
    "tracer.standards.figures",
)


def test_commands_ask_the_front_door_only() -> None:
    wrong = [
        f"{file.relative_to(ROOT)}:{imported.line}: {imported.target}"
        for module, file, imported in tracer_imports()
        if module.startswith("tracer.cli") and imported.target.startswith("tracer.") and not imported.for_types
        if not is_below(imported.target, CLI_USES) and imported.target != "tracer.__version__"
    ]
    assert not wrong, "\n".join(wrong)
    used = [imported.target for module, _, imported in tracer_imports() if module.startswith("tracer.cli")]
    assert [name for name in CLI_USES if not any(is_below(target, [name]) for target in used)] == []


# What `report` may know of the layers that work things out: plain values and their words, never what computes them.
SHOWN_VALUES = {
    "tracer.circuit": ("comparing", "kinds", "model.Circuit", "read_back.ReadBack", "states.Level", "wire_list.WireList"),
    "tracer.trace": (
        "affects.effects", "affects.every_part", "affects.in_common", "lists.completeness", "lists.missing.Missing", "lists.missing.MissingPage", "lists.pin_states", "lists.results", "minding.CAUTION", "minding.HAZARD",
        "minding.Minded", "minding.Minding", "minding.NOTE", "minding.NOTHING", "panels.plugged_in", "panels.positions_of", "rules.registry.Finding",
        "rules.registry.Rule",
    ),
    "tracer.electrics": (
        "bus.alike", "bus.values", "limits_in_use.LimitInUse", "limits_in_use.LimitsInUse", "volts.values",
    ),
    "tracer.case": ("beside.asks_beside", "case.Case", "case.Note", "case.Recorded", "handed.Taken", "notes.not_as_listed", "notes.watches", "proof.RowProof", "proof.Verdict", "readings.Conditions", "readings.Reading"),
    "tracer.diagnose": ("values",),
    "tracer.plan": ("codes", "diagram", "edition.edition_of", "edition.row_marks", "names.full_name", "names.step_name", "plug_values", "values", "words"),
}  # fmt: skip
# Behind TYPE_CHECKING every answer as well, and these: their names cost nothing and compute nothing.
SHOWN_REPORTS = (
    "tracer.electrics.bus.readings.Classified", "tracer.electrics.key_off_draw.FuseDraw", "tracer.electrics.volts.expected.ComputedExpect",
    "tracer.electrics.volts.expected.Expected",
)  # fmt: skip
# Functions that it calls: names, words and groupings of values that are there. Nothing else that is imported may be a function.
SHOWN_FUNCTIONS = (
    "tracer.case.beside.asks_beside", "tracer.case.notes.not_as_listed", "tracer.case.notes.watches", "tracer.electrics.bus.alike.clusters_of", "tracer.electrics.bus.alike.cut_off",
    "tracer.electrics.bus.alike.cut_off_modules", "tracer.electrics.bus.alike.only_cuts_off", "tracer.electrics.bus.alike.signature", "tracer.electrics.bus.values.ohm_words",
    "tracer.plan.codes.bus_pins", "tracer.plan.diagram.bus_lines", "tracer.plan.edition.edition_of", "tracer.plan.edition.row_marks", "tracer.plan.names.full_name", "tracer.plan.names.step_name",
    "tracer.plan.values.there",
)  # fmt: skip


def named_by(target: str) -> object:
    """What a dotted name stands for; None for a module."""
    module, _, name = target.rpartition(".")
    return getattr(import_module(module), name, None)


def is_an_answer(target: str) -> bool:
    """Whether a dotted name is that of an answer to a question."""
    found = named_by(target)
    return isinstance(found, type) and issubclass(found, Answer)


def test_report_only_shows() -> None:
    """No solver, no tracing, no numpy, and of the rules only their texts; for the type checker every answer, since to be shown is what an answer is for."""
    allowed = [f"{layer}.{name}" for layer, names in SHOWN_VALUES.items() for name in names]
    found = [
        (f"{file.relative_to(ROOT)}:{imported.line}: {imported.target}", imported)
        for module, file, imported in tracer_imports()
        if module.startswith("tracer.report")
        and is_below(imported.target, (*SHOWN_VALUES, "numpy", "scipy", "networkx"))
    ]
    wrong = [
        where
        for where, imported in found
        if not is_below(imported.target, allowed)
        and not (imported.for_types and (imported.target in SHOWN_REPORTS or is_an_answer(imported.target)))
    ]
    assert not wrong, "\n".join(wrong)
    targets = {imported.target for _, imported in found}
    functions = {target for target in targets if isfunction(named_by(target))}
    assert functions == set(SHOWN_FUNCTIONS)
    assert [name for name in allowed if not any(is_below(target, [name]) for target in targets)] == []


def test_showing_loads_no_solver() -> None:
    """Run, not read: what a shown value is defined beside must not bring the solver in."""
    modules = [module for module, _ in tracer_modules() if module.startswith("tracer.report")]
    assert len(modules) > 20
    libraries = ["numpy", "scipy", "networkx", "tracer.electrics.network.linear", "tracer.electrics.model.of_circuit"]
    program = f"import sys, {', '.join(modules)}; print(*[name for name in {libraries} if name in sys.modules])"
    run = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    assert run.stdout.split() == []


def test_every_module_stands_in_a_layer() -> None:
    modules = tracer_modules()
    assert modules, "no module found below tracer/"
    tops = {module.split(".")[1] for module, _ in modules if "." in module}
    assert tops - set(LAYERS) - set(OUTSIDE) == set()


def test_no_layer_imports_from_its_right() -> None:
    wrong = [
        f"{file.relative_to(ROOT)}:{imported.line}: {fault}"
        for module, file, imported in tracer_imports()
        if (fault := against_the_order(module, imported))
    ]
    assert not wrong, "\n".join(wrong)


def test_no_heavy_library_is_imported_with_its_module() -> None:
    wrong = [
        f"{file.relative_to(ROOT)}:{imported.line}: {fault}"
        for module, file, imported in tracer_imports()
        if (fault := too_heavy(module, imported))
    ]
    assert not wrong, "\n".join(wrong)


def test_the_command_line_starts_without_the_heavy_libraries() -> None:
    # Run, not read: a library can come in through another one. Typer decides for itself when it takes rich.
    libraries = [library for library in HEAVY if not library.startswith("rich")]
    program = f"import sys, tracer.cli; print(*[name for name in {libraries} if name in sys.modules])"
    run = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    assert run.stdout.split() == []


SAMPLE = """
import networkx as nx
from typing import TYPE_CHECKING
from ..report import table
from .. import __version__
from . import paths
if TYPE_CHECKING:
    import numpy
else:
    import typst
class Found:
    from rich.table import Table
    def draw(self) -> None:
        from tracer.cli import main
        import_module("scipy.sparse")
"""


def test_imports_are_found_wherever_they_stand() -> None:
    found = {(i.target, i.at_load) for i in imports_in(SAMPLE, "tracer.trace.supplies", is_package=False)}
    assert found == {
        ("networkx", True),
        ("typing.TYPE_CHECKING", True),
        ("tracer.report.table", True),
        ("tracer.__version__", True),
        ("tracer.trace.paths", True),
        ("numpy", False),
        ("typst", True),
        ("rich.table.Table", True),
        ("tracer.cli.main", False),
        ("scipy.sparse", False),
    }


def test_a_relative_import_in_a_package_starts_at_the_package() -> None:
    (found,) = imports_in("from .supplies import supplies_of\n", "tracer.trace", is_package=True)
    assert found.target == "tracer.trace.supplies.supplies_of"


@pytest.mark.parametrize(
    ("module", "target", "allowed"),
    [
        ("tracer.trace.supplies", "tracer.circuit.build", True),
        ("tracer.trace.supplies", "tracer.trace.paths", True),
        ("tracer.trace.supplies", "tracer.electrics", False),
        ("tracer.standards.colours", "tracer.entry.load", False),
        ("tracer.report", "tracer.cli", False),
        ("tracer.report.text", "tracer.__version__", True),
        ("tracer.report.text", "tracer", False),
        ("tracer.report.text", "tracer.helpers", False),
        ("tracer.cli", "tracer.standards", True),
        ("tracer", "tracer.cli", True),
        ("tracer.entry", "yaml", True),
    ],
)
def test_the_order_is_kept_in_one_direction_only(module: str, target: str, allowed: bool) -> None:
    assert (against_the_order(module, Import(1, target, at_load=False)) is None) == allowed


@pytest.mark.parametrize(
    ("module", "target", "at_load", "allowed"),
    [
        ("tracer.circuit.graph", "networkx", True, False),
        ("tracer.circuit.graph", "networkx", False, True),
        ("tracer.circuit.graph", "networkx.algorithms.bridges", True, False),
        ("tracer.electrics.solve", "scipy.sparse", True, True),
        ("tracer.electrics.solve", "networkx", True, False),
        ("tracer.entry.models", "pydantic", True, True),
        ("tracer.circuit.parts", "pydantic", True, False),
        ("tracer.report.text", "rich.table.Table", True, False),
        ("tracer.report.text", "rich.console.Console", True, True),
        ("tracer.report.text", "numpydoc", True, True),
    ],
)
def test_a_heavy_import_is_one_that_runs_at_load(module: str, target: str, at_load: bool, allowed: bool) -> None:
    assert (too_heavy(module, Import(1, target, at_load)) is None) == allowed


# The start of a path on one particular machine. Written without their first stroke, so that this file is
# clean by its own rule.
MACHINE_FOLDERS = ("work/", "root/", "home/[a-z]", "Users/[A-Za-z]", "tmp/brief", "opt/wheels", "opt/pypi")
MACHINE_PATH = re.compile(rf"(?<![\w.~*-])/(?:{'|'.join(MACHINE_FOLDERS)})|\b[A-Z]:\\+Users\b")


def project_files() -> list[Path]:
    """Files under version control or about to be; in an unpacked source archive, all files of it."""
    top = subprocess.run(["git", "rev-parse", "--show-toplevel"], cwd=ROOT, capture_output=True, text=True, check=False)
    if top.returncode == 0 and Path(top.stdout.strip()).resolve() == ROOT:
        listing = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
        names = subprocess.run(listing, cwd=ROOT, capture_output=True, text=True, check=True).stdout
        files = [ROOT / name for name in names.split("\0") if name]
    else:
        passed_over = {".venv", "__pycache__", "build", "dist"}
        files = [f for f in ROOT.rglob("*") if not passed_over.intersection(f.relative_to(ROOT).parts)]
    return [file for file in sorted(files) if file.is_file()]


def text_of(file: Path) -> str | None:
    """Return the text of a file, or None for a file that is not text."""
    content = file.read_bytes()
    try:
        return None if b"\0" in content else content.decode()
    except UnicodeDecodeError:
        return None


def test_no_file_names_a_path_of_one_machine() -> None:
    files = project_files()
    assert Path(__file__).resolve() in files, "the list of files is not the project's"
    wrong = [
        f"{file.relative_to(ROOT)}:{number}: {line.strip()[:100]}"
        for file in files
        for number, line in enumerate((text_of(file) or "").splitlines(), start=1)
        if MACHINE_PATH.search(line)
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("before", ["", "see ", "file://", '"'])
@pytest.mark.parametrize("folder", ["work/main", "root/.cache", "home/someone", "tmp/brief/x", "opt/wheels"])
def test_a_path_of_one_machine_is_recognised(before: str, folder: str) -> None:
    assert MACHINE_PATH.search(f"{before}/{folder}")


@pytest.mark.parametrize(
    "harmless",
    [
        "net/work/",
        "https://example.org/work/",
        "./root/",
        "tests/root/x",
        "home/",
        "a work/rest ratio",
        "/tmp/x",
    ],
)
def test_other_text_is_not_taken_for_a_path_of_one_machine(harmless: str) -> None:
    assert not MACHINE_PATH.search(harmless)


# A number with a unit that is formatted where it stands: `{x:.2f} V`, `{x:g} A`. What is set out for paper (`pt`) is no value.
UNIT_AT_HAND = re.compile(
    r"\{[^{}]+:[^{}]*[fge]\} ?(?:[kMmµ]?[VAWSmsΩ]|[kM]?ohm|mm|mm²|°C|%|[kM]B|minutes?|hours?)(?![A-Za-z])"
)


def test_numbers_with_units_are_written_in_one_module() -> None:
    wrong = [
        f"{file.relative_to(ROOT)}:{number}: {line.strip()[:100]}"
        for module, file in tracer_modules()
        if module != "tracer.standards.figures"
        for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1)
        if UNIT_AT_HAND.search(line)
    ]
    assert (
        UNIT_AT_HAND.search('f"{value:.2f} V"')
        and UNIT_AT_HAND.search("{amps:g} A")
        and UNIT_AT_HAND.search("{age / 60:.0f} minutes ago")
    )
    assert not wrong, "\n".join(wrong)


def test_every_test_that_make_quick_names_is_there() -> None:
    quick = re.search(r"^QUICK := ((?:.*\\\n)*.*)$", (ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE)
    assert quick is not None
    named = quick[1].replace("\\", " ").split()
    assert len(named) > 10
    assert [name for name in named if not (ROOT / name).exists()] == []
