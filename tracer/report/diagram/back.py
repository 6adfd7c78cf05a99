"""The back of a diagram: the faces of the connectors that it shows, as far as they are typed in, drawn as on the worksheet."""

from __future__ import annotations

from typing import Any

from tracer.plan.diagram import View
from tracer.report import faces
from tracer.report.diagram.paper import Paper
from tracer.report.minding import first_words
from tracer.report.typeset import PAPERS


def back_of(view: View, paper: Paper) -> dict[str, Any] | None:
    """What the template of the back takes; None where no face is typed in."""
    if not view.faces:
        return None
    report = view.report
    name = f"{report.module} {report.name or ''}".strip()
    return {
        "title": f"{name}: faces of its connectors",
        "status": report.completeness.word,
        "complete": report.complete,
        "under": f"{report.vehicle}. Back of the diagram: only faces that are typed in. Look from the side that each title names; a MIRROR is the same face from the other side.",
        "mind": first_words(view.minding),
        "meaning": faces.PRINTED,
        "faces": [faces.as_data(face) for face in view.faces],
        "date": paper.date,
        "paper": PAPERS[paper.size],
    }


__all__ = ["back_of"]
