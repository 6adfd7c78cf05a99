"""How every output says whether it is complete: in the first words, in a line about another command's list, in JSON and in CSV."""

from __future__ import annotations

from typing import Any

from tracer.report.layout import counted
from tracer.trace.lists.completeness import Completeness


def opening(completeness: Completeness) -> str:
    """'COMPLETE', 'NOT COMPLETE', or 'COMPLETE IF G1 sits on the body, and 30 is live as typed'."""
    if completeness.state == "not all looked at" and completeness.rests_on:
        return f"{completeness.word}, and it rests on this: {', and '.join(completeness.conditions)}"
    if completeness.state != "complete if":
        return completeness.word
    return f"{completeness.word} {', and '.join(completeness.conditions)}"


def loose_words(completeness: Completeness) -> str:
    """Why a module's list is not complete: '3 loose ends on the ways to this module'."""
    if completeness.loose:
        return f"{counted(completeness.loose, 'loose end')} on the ways to this module"
    return "the two counts differ"


def joints_words(completeness: Completeness) -> str:
    """'4 joints on these ways without a wire count', or nothing where every joint is counted."""
    if not completeness.uncounted:
        return ""
    return f"{counted(len(completeness.uncounted), 'joint')} on these ways without a wire count"


def list_words(module: str, completeness: Completeness) -> str:
    """One line about the list of a module, where another command shows its rows; empty when it is complete."""
    if completeness.state == "complete":
        return ""
    if completeness.state != "not complete":
        return f"{opening(completeness)}; `tracer supplies {module}` lists the rows."
    tells = "lists them" if completeness.loose else "says where"
    return f"NOT COMPLETE: {loose_words(completeness)}; `tracer supplies {module}` {tells}."


def cell(completeness: Completeness) -> str:
    """The word of a CSV cell."""
    return "complete" if completeness.complete else completeness.word


def completeness_data(completeness: Completeness) -> dict[str, Any]:
    """The value as plain data."""
    return {
        "state": completeness.state,
        "rests_on": [{"kind": one.kind, "at": one.at} for one in completeness.rests_on],
        "conditions": list(completeness.conditions),
        "uncounted_joints": list(completeness.uncounted),
        "not_looked_at": list(completeness.not_looked_at),
        "loose_ends": completeness.loose,
        "differences": completeness.differences,
        "loose_elsewhere": completeness.elsewhere,
    }
