"""A model with what follows from its own currents, one state after another: the slow way, to hold the batched one against."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.electrics.model.branches import HIGH, LOW, NOMINAL
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.fitting import NOT_FITTED, TURNS, Fit, State


def states_of(model: Model) -> Iterator[State]:
    """Its nominal state, and where it `converts` before and after it those in which everything is at its low and at its high end."""
    for at in (LOW, NOMINAL, HIGH) if model.converts else (NOMINAL,):
        solved = model.solve(model.setting(at, at) if at != NOMINAL else None)
        yield State(solved.branch_a, solved.node_v, solved.loaded.closed)


def fitted(model: Model) -> Model:
    """The model with what follows from its own currents.

    Raises
    ------
    NotSettled : it has no state of rest
    """
    fit, found = Fit(), model
    for _ in range(TURNS):
        after = fit.after(found, list(states_of(found)))
        if after == fit:
            break
        fit, found = after, after.of(model)
    else:
        found.undecided = tuple(dict.fromkeys((*found.undecided, NOT_FITTED)))
    return found
