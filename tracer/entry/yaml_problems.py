"""What the YAML parser stops at, in plain words: what was typed there, and what to write instead."""

from __future__ import annotations

import re
from typing import Any

import yaml

from tracer.entry.problems import Place, Problem

TOO_DEEP = "brackets or indentation nested too deeply"


def yaml_problem(name: str, lines: list[str], error: yaml.MarkedYAMLError) -> Problem:
    """What the parser stopped at, with its place in the file and what to write instead."""
    mark = error.problem_mark or error.context_mark
    reason, context = error.problem or "", error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
    typed = lines[line - 1][column - 1 : column] if 0 < line <= len(lines) else ""
    shown = lines[line - 1] if 0 < line <= len(lines) else ""
    begun = lines[context.line] if context and context.line < len(lines) else ""
    if special := _what_is_typed(reason, begun, shown, context, line, lines):
        at, what, fix = special
        typed = lines[at - 1]
        start = len(typed) - len(typed.lstrip())
        return Problem(Place(name, at, start + 1), what, fix, typed[start : start + 1], typed)
    what, fix = _in_plain_words(reason, typed, f"{context.line + 1}:{context.column + 1}" if context else "there")
    if "mapping values" in reason and (match := _TWO_COLONS.match(shown)):
        fix = f'Put the text in quotes: `{match[1]}: "{match[2].strip()}"`.'
    if context and (("end of stream" in reason and "quoted" in (error.context or "")) or "expected ':'" in reason):
        line, column = context.line + 1, context.column + 1  # what was never closed, not the end of the file
    if line > len(lines):
        line = max((number for number, one in enumerate(lines, 1) if one.strip()), default=0)
        column = len(lines[line - 1]) + 1 if line else 0
    typed = lines[line - 1] if line else ""
    return Problem(Place(name, line, column), what, fix, typed[column - 1 : column] if column else "", typed)


_TWO_COLONS = re.compile(r"^\s*([A-Za-z][\w ]*): ([^\"'{}\[\]#]*: [^\"'{}\[\]#]*)$")
_NO_SPACE = re.compile(r"^\s*(?:- )?([\w ]+):([^\s:/>].*)$")


def _what_is_typed(
    reason: str, begun: str, shown: str, context: Any, line: int, lines: list[str]
) -> tuple[int, str, str] | None:
    """The line, what is wrong and the cure, where the typed lines themselves show it better than the parser's words."""
    unreadable = "not readable as YAML: "
    if "expected ':'" in reason or "mapping values are not allowed" in reason:
        number = context.line + 1 if context and "expected ':'" in reason else line
        text = begun if context and "expected ':'" in reason else shown
        if re.search(r"\s(?:--+|—|–)\s", text) and not text.lstrip().startswith("- "):
            return (
                number,
                f"{unreadable}this run does not begin with `- `",
                f"Write `- {text.strip()[:40]}`, below the others.",
            )
        before = lines[number - 2] if number > 1 and "mapping" in reason else ""
        if not _NO_SPACE.match(text) and _NO_SPACE.match(before):
            number, text = number - 1, before
        if match := _NO_SPACE.match(text):
            fix = f"Write `{match[1].strip()}: {match[2].strip()[:40]}`."
            return number, f"{unreadable}a space is missing after the colon", fix
    if "expected ',' or" in reason and context and context.line + 1 < line:
        opened = sum(begun.count(one) for one in "[{") - sum(begun.count(one) for one in "]}")
        if opened > 0 and (shown.lstrip().startswith("- ") or re.match(r"^\s*[\w .-]+:(\s|$)", shown)):
            close = "}" if begun.count("{") > begun.count("}") else "]"
            return (
                context.line + 1,
                f"{unreadable}`{close}` is missing at the end of this line",
                "Close what is opened on it.",
            )
    if "expected key" in reason and "flow" not in reason and context and shown.strip() and not set("'\"") & set(shown):
        own = len(shown) - len(shown.lstrip())
        before = next((one for one in reversed(lines[: line - 1]) if one.strip()), "")
        other = len(before) - len(before.lstrip())
        if own not in (other, context.column):
            what = f"{unreadable}this line begins in column {own + 1}, the one before it in column {other + 1}"
            return line, what, "Indent it exactly as far as its neighbours: count the blanks at its beginning."
    return None


def _in_plain_words(reason: str, typed: str, opened: str) -> tuple[str, str]:
    """What the YAML parser means, and what to write instead; `typed` is the character it stopped at."""
    if typed == "\t" or "tab character" in reason:
        return "a tab is used for indentation", "Indent with spaces, exactly as far as its neighbours."
    unreadable = "not readable as YAML: "
    check = "Check the brackets, quotes and indentation here and on the line before."
    for piece, what, fix in (
        ("mapping values are not allowed", "a colon followed by a space cannot stand here",
         "Put the text in quotes, or begin a new line for a new `key: value`; check the indentation."),
        ("cannot start any token", f"a text cannot begin with `{typed}`", "Put the text in quotes."),
        ("expected ',' or", f"a comma or closing bracket is missing (the brackets begin at {opened})",
         "Check the brackets, quotes and colons from there to here; a text with `: ` or brackets in it needs quotes."),
        ("unexpected end of stream", "the quotes that begin here are never closed", "Close them, or remove them."),
        ("another document", "a second document begins after `---`", "One file is one page: give it a file of its own."),
        ("<document start>", "what came before ends on the line above", "Check the brackets, and that each line is `key: value`."),
        ("expected '-' indicator", f"this line does not continue the list that begins at {opened}",
         "Begin it with `- ` below the others, or indent it as far as the key above the list."),
        ("did not find expected key", f"this does not continue the `key: value` lines that begin at {opened}",
         "Check the indentation here, and the quotes on this line and the one before."),
        ("expected node content", f"a value is missing, or begins with `{typed}`" if typed.strip() else "a value is missing",
         "Write the value; in quotes if it begins with a bracket, a comma or `?`."),
        ("expected ':'", "a colon is missing after this", "Write `key: value`."),
        ("block sequence entries", "a list cannot begin here", "Put each `- ` on a line of its own."),
        ("nesting depth", TOO_DEEP, "Remove the surplus brackets."),
        ("escape character", "a backslash inside double quotes means something else", "Use single quotes."),
        ("directive", "`%` cannot begin a line", "Remove the line, or put the text in quotes."),
        ("tag", "`!` begins a tag, and tags are not used here", "Put the text in quotes."),
    ):  # fmt: skip
        if piece in reason:
            return unreadable + what, fix
    return unreadable + (reason or "the reason is not known"), check


__all__ = ["yaml_problem"]
