"""How every output says whether it is complete: in the first words, in JSON and in CSV. The exit status is in `cli/answer.py`."""

from __future__ import annotations

from typing import Any

from tracer.report.layout import counted
from tracer.report.words import RESTS_ON
from tracer.trace.lists.completeness import Completeness

# What an answer is about: where it is loose, and what is so where nothing is.
_WHERE = {
    "list": ("on the ways to this module", "nothing loose on any way to this module"),
    "vehicle": ("in this vehicle", "no loose end in this vehicle"),
    "bus": ("about this bus", "nothing about this bus is unknown"),
    "buses": ("about these buses", "nothing about these buses is unknown"),
    "plugged": ("at these positions", "every position was looked at and holds what belongs there"),
}
_LOOSE = {
    "bus": ("thing not known", "things not known"),
    "buses": ("thing not known", "things not known"),
    "plugged": ("thing not known", "things not known"),
}
_DIFFER = {"plugged": "what is plugged in does not belong there"}
_LISTED = "(`tracer check` lists them)"
_MOST = 3  # conditions in the first line of an answer that does not list them itself


def first_line(
    completeness: Completeness, *, counts: str = "", why: str = "", missing: str = "", most: int = _MOST
) -> str:
    """The sentence about completeness with which an answer begins.

    Parameters
    ----------
    counts : what there is so far
    why : why it is not complete, in place of the usual words
    missing : what the answer may lack by what is loose, where `tracer check` lists that
    most : so many conditions are named, and how many more there are
    """
    rests = _rests_words(completeness, most)
    joints = joints_words(completeness)
    if completeness.state == "not complete":
        rests = f", and {RESTS_ON}: {rests}" if rests else ""
        missing = f"; {missing} {_LISTED}" if missing else ""
        so_far = [one for one in (f"So far {counts}" if counts else "", joints) if one]
        return f"{completeness.word}: {why or loose_words(completeness)}{rests}{missing}." + (
            f" {'; '.join(so_far)}." if so_far else ""
        )
    nothing = _WHERE[completeness.about][1]
    if completeness.not_looked_at:
        nothing = nothing.replace("nothing loose", "nothing else loose")
    return f"{opening(completeness, most)}: {'; '.join(one for one in (counts, joints, nothing) if one)}."


def opening(completeness: Completeness, most: int = _MOST) -> str:
    """'COMPLETE', 'COMPLETE IF G1 sits on the body', 'COMPLETE for 42 pins; 11 not looked at'; what else there is to say follows."""
    rests = _rests_words(completeness, most)
    joined = " " if completeness.state == "complete if" else f", and {RESTS_ON}: "
    return f"{completeness.word}{joined}{rests}" if rests else completeness.word


def _rests_words(completeness: Completeness, most: int) -> str:
    """What an answer rests on, in words."""
    named = completeness.conditions
    more = len(named) - most
    if more <= 0:
        return ", and ".join(named)
    other = "1 other thing" if more == 1 else f"{more} other things"
    return f"{', and '.join(named[:most])}, and {other} {_LISTED}"


def loose_words(completeness: Completeness, *, where: bool = True) -> str:
    """Why an answer is not complete: '3 loose ends on the ways to this module', or only how many."""
    words = []
    if completeness.loose:
        one, several = _LOOSE.get(completeness.about, ("loose end", "loose ends"))
        words.append(counted(completeness.loose, one, several) + (f" {_WHERE[completeness.about][0]}" if where else ""))
    if completeness.differences:
        words.append(_DIFFER.get(completeness.about, "the two counts differ"))
    return " and ".join(words)


def joints_words(completeness: Completeness) -> str:
    """'4 joints on these ways without a wire count', or nothing where every joint is counted."""
    if not completeness.uncounted:
        return ""
    where = {"list": "on these ways", "bus": "on its lines", "buses": "on their lines"}.get(
        completeness.about, "in this vehicle"
    )
    return f"{counted(len(completeness.uncounted), 'joint')} {where} without a wire count"


def list_words(module: str, completeness: Completeness) -> str:
    """The first words about the list of a module, where another command shows its rows."""
    tells = "" if completeness.complete else f" `tracer supplies {module}` lists {'the rows' if completeness.state == 'complete if' else 'what is loose'}."  # fmt: skip
    return first_line(completeness, most=1000) + tells


def cell(completeness: Completeness) -> str:
    """The word of a CSV cell."""
    return "complete" if completeness.complete else completeness.word


def completeness_data(completeness: Completeness) -> dict[str, Any]:
    """The value as plain data: two entries of every answer."""
    return {
        "complete": completeness.complete,
        "completeness": {
            "state": completeness.state,
            "about": completeness.about,
            "rests_on": [{"kind": one.kind, "at": one.at} for one in completeness.rests_on],
            "conditions": list(completeness.conditions),
            "uncounted_joints": list(completeness.uncounted),
            "not_looked_at": list(completeness.not_looked_at),
            "loose_ends": completeness.loose,
            "differences": completeness.differences,
            "loose_elsewhere": completeness.elsewhere,
        },
    }
