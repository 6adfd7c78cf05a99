"""One word, one thing: the words of docs/words.md that once meant several are found in names only where they mean what the page says.

A name is that of a module, a class, a function, an argument or a field. Prose is not read: there the words stand in sentences that say what is meant.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "words.md").read_text(encoding="utf-8")

# Where below tracer/ a name may hold the word; whoever needs it elsewhere looks first whether the thing is the one of the page.
HOMES = {
    # a current that something takes: typed, modelled, computed, shown
    ("draw", "draws"): ("__init__", "cli/figures", "electrics/", "entry/models", "entry/overrides", "entry/scalars", "report/draw", "standards/allowances", "trace/kinds", "trace/rules/wiring"),
    # what stands on the maker's page is only ever told in words: diagrams have pages, chance takes samples
    ("drawn", "drawing", "drawings"): ("entry/scalars",),  # amperes drawn
    # one page of the drawing, typed: nothing of what is printed or filled in
    ("sheet", "sheets"): ("circuit/", "cli/typing_in", "entry/", "report/plug_worksheet/values", "report/worksheet/values", "trace/"),
    # what is computed to be read with everything in order
    ("expected",): ("__init__", "diagnose/find", "electrics/", "plan/", "report/", "trace/lists/pin_states"),
    # a value that somebody measured
    ("reading", "readings"): ("__init__", "case/", "cli/", "diagnose/", "electrics/bus/readings", "electrics/key_off_draw", "entry/problems", "report/", "standards/bus", "trace/lists/rows"),
    # a figure of a picture
    ("shape", "shapes"): ("page/picture", "report/diagram/", "report/faces"),
    # pieces of anything else are pieces, islands, shares, sections: what comes apart is severed
    ("parted",): (),
}  # fmt: skip


def words_in(name: str) -> list[str]:
    """The words of a name.

    >>> words_in("_FuseDraw"), words_in("line_readings")
    (['fuse', 'draw'], ['line', 'readings'])
    """
    return [word.lower() for word in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)]


def names_in(source: str) -> Iterator[tuple[int, str]]:
    """Every name that a module defines for others: classes, functions, their arguments, fields and constants."""
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.ClassDef(name=name) | ast.FunctionDef(name=name):
                yield node.lineno, name
            case ast.arg(arg=name):
                yield node.lineno, name
            case ast.AnnAssign(target=ast.Name(id=name)):
                yield node.lineno, name
            case ast.Module(body=body):
                yield from (
                    (one.lineno, target.id)
                    for one in body
                    if isinstance(one, ast.Assign)
                    for target in one.targets
                    if isinstance(target, ast.Name)
                )


def all_names() -> Iterator[tuple[str, int, str]]:
    """Each name below tracer/ with its file and line, the file's own name as well."""
    for file in sorted((ROOT / "tracer").rglob("*.py")):
        module = str(file.relative_to(ROOT / "tracer").with_suffix(""))
        yield module, 0, module.rpartition("/")[2]
        for line, name in names_in(file.read_text(encoding="utf-8")):
            yield module, line, name


@pytest.mark.parametrize("words", HOMES, ids=lambda words: words[0])
def test_a_word_names_one_thing(words: tuple[str, ...]) -> None:
    held = [(module, line, name) for module, line, name in all_names() if set(words) & set(words_in(name))]
    wrong = [f"tracer/{module}.py:{line}: {name}" for module, line, name in held if not module.startswith(HOMES[words])]
    assert not wrong, f"see docs/words.md for what `{words[0]}` means:\n" + "\n".join(wrong)
    unused = [home for home in HOMES[words] if not any(module.startswith(home) for module, _, _ in held)]
    assert not unused, f"no name with `{words[0]}` there any more: {unused}"


def test_each_of_these_words_is_on_the_page() -> None:
    rows = " ".join(re.findall(r"^\| ([^|]+) \|", PAGE, flags=re.MULTILINE))
    missing = [word for word in ("draw", "drawing", "sheet", "worksheet", "part", "expected", "reading", "shape", "symbol") if not re.search(rf"\b{word}\b", rows)]  # fmt: skip
    assert missing == []


def test_no_word_stands_on_the_page_twice() -> None:
    rows = [word.strip() for row in re.findall(r"^\| ([^|]+) \|", PAGE, flags=re.MULTILINE) for word in row.split(",")]
    assert len(rows) > 40 and sorted(set(rows)) == sorted(rows)


def test_a_name_with_a_word_in_it_is_found() -> None:
    source = "class DrawnPage:\n    shape: int\n\n    def sheet_of(self, reading: int) -> int:\n        return reading\n\nDRAWS = 64\n"
    assert {name for _, name in names_in(source)} == {"DrawnPage", "shape", "sheet_of", "self", "reading", "DRAWS"}
    assert words_in("DrawnPage") == ["drawn", "page"]


# Rows of a table are called by their names wherever they are used.
ROWS = " ".join(file.read_text(encoding="utf-8") for file in (ROOT / "tracer" / "standards" / "data").glob("*.yaml"))


def sentences_in(source: str) -> Iterator[tuple[int, str]]:
    """Every text of more than 30 characters that is meant to be read: no docstring, nothing of several lines (examples of rules)."""
    tree = ast.parse(source)
    told = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in told:
            text = node.value.strip()
            if len(text) > 30 and " " in text and "\n" not in text and not re.search(r"\w: (\w|[{\[])", text):
                yield node.lineno, text


def test_a_sentence_stands_once() -> None:
    places: dict[str, list[str]] = {}
    for file in sorted((ROOT / "tracer").rglob("*.py")):
        for line, text in sentences_in(file.read_text(encoding="utf-8")):
            places.setdefault(text, []).append(f"{file.relative_to(ROOT)}:{line}")
    assert len(places) > 1000
    twice = {text: at for text, at in places.items() if len(at) > 1 and text not in ROWS}
    assert not twice, "\n".join(f"{', '.join(at)}: {text}" for text, at in twice.items())


def test_a_sentence_is_found() -> None:
    long = "a sentence that is long enough to be looked for"
    source = f'"""{long}."""\ndef told() -> str:\n    """{long}, here."""\n    return f"{{1}} {long}" + "short one"\n'
    assert [text for _, text in sentences_in(source)] == [long]
