"""What is asked of the page: the front door hands these on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tracer.standards.figures import POINT
from tracer.trace.lists.completeness import Answer, Completeness

if TYPE_CHECKING:
    from tracer.circuit.model import Circuit
    from tracer.page.desk import Desk
    from tracer.page.open import Opened
    from tracer.trace.tracing import Tracing


@dataclass(frozen=True, slots=True)
class Pocket(Answer):
    """The page of one module as one file, and whether its list is complete."""

    module: str
    completeness: Completeness
    html: str


def pocket(circuit: Circuit | Tracing, module: str, *, decimal: str = POINT, shop: Path | None = None) -> Pocket:
    """A module's list, cards, panels and diagram as one HTML file for a phone without a network.

    Raises
    ------
    UnknownModule : no module has that name
    CannotUse : the workshop's file cannot be read
    NoEngine (a CannotCompute) : the layout engine cannot be run
    """
    from tracer.page.file import page_html

    completeness, content = page_content(circuit, module, decimal=decimal, shop=shop)
    return Pocket(content["module"], completeness, page_html(content))


def page_content(
    circuit: Circuit | Tracing, module: str, *, decimal: str = POINT, shop: Path | None = None
) -> tuple[Completeness, dict[str, Any]]:
    """What the page shows of a module, as plain data.

    Raises
    ------
    as `pocket`
    """
    from tracer.electrics.limits_in_use import limits_of
    from tracer.entry.overrides import read_shop
    from tracer.page.content import content_of
    from tracer.trace.lists.supplies import supplies_of
    from tracer.trace.tracing import Tracing as Traced

    tracing = circuit if isinstance(circuit, Traced) else Traced(circuit)
    report = supplies_of(tracing, tracing.circuit.spelt(module))
    limits = limits_of(tracing.circuit, read_shop(shop) if shop is not None else None)
    return report.completeness, content_of(tracing, report, limits, mark=decimal)


def desk(
    folder: Path, module: str, say: Callable[[Opened], None], *, decimal: str = POINT, shop: Path | None = None, lan: bool = False, port: int | None = None,
) -> Desk:  # fmt: skip
    """Serve a module's page, kept up to date, until it is interrupted; `say` is told the address once it can be reached.

    Raises
    ------
    CannotCompute : the port is taken
    NotWritten : the key for the network cannot be kept
    """
    from tracer.page.desk import Desk as Made
    from tracer.page.open import PORT, serve

    made = Made(folder, module, decimal, shop)
    serve(made, say, lan=lan, port=PORT if port is None else port)
    return made


__all__ = ["Pocket", "desk", "page_content", "pocket"]
