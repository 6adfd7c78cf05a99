"""From a circuit in a key state, with what is taken to differ, to its model."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.branches import Branch, Draw
from tracer.electrics.model.changes import AddedLoad, Changes, Short
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.elements import Ohms
from tracer.electrics.model.link_branches import LinkBranches
from tracer.electrics.model.making import Draft, Shared
from tracer.electrics.model.module_draws import ModuleDraws
from tracer.electrics.model.pulled_in import by_test_loads
from tracer.electrics.model.sources import Sources
from tracer.electrics.model.switching import Switching
from tracer.entry.models import FuseFacts
from tracer.standards import figures
from tracer.standards.allowances import contact_ohm
from tracer.trace.tracing import Tracing


def model_of(
    tracing: Tracing,
    key: str,
    changes: Changes | None = None,
    *,
    limits: LimitsInUse,
    first: str = "",
    shared: Shared | None = None,
) -> Model:
    """The model of a circuit in a key state.

    Parameters
    ----------
    key : one of the vehicle's key states
    changes : what differs from the vehicle in order
    first : the module whose loads are modelled most exactly where there are very many
    shared : of the models with the same changes in other key states

    Raises
    ------
    UnknownKeyState : there is none of that name
    """
    key = tracing.key_state(key)
    model = _made(Draft(tracing, key, changes or Changes(), limits), shared or Shared(), first)
    while further := by_test_loads(model):
        changes = replace(model.changes, grounded=(*model.changes.grounded, *further))
        notes = model.notes
        model = _made(Draft(tracing, key, changes, limits), Shared(), first)
        model.notes = tuple(dict.fromkeys((*notes, *further.values(), *model.notes)))
    return model


def models_of(tracing: Tracing, keys: Iterable[str], *, limits: LimitsInUse, first: str = "") -> list[Model]:
    """The models of a circuit in order in several key states, as `model_of` gives them; what does not depend on the key state is made once."""
    shared = tracing.once(_in_order)
    return [_made(Draft(tracing, key, Changes(), limits), shared, first) for key in keys]


def _in_order(_: Tracing) -> Shared:
    """Of all models of the vehicle in order."""
    return Shared()


def _made(draft: Draft, shared: Shared, first: str) -> Model:
    switching = Switching(draft, shared)
    for part, _, _ in draft.tracing.unknown_insides:
        draft.undecided[f"what the pins of {part.name} are joined with inside it (taken as nothing)"] = None
    sources = Sources(draft, switching)
    modules = ModuleDraws(draft, switching)
    reference = sources.reference()
    LinkBranches(draft, switching).make()
    battery, battery_state = sources.battery()
    sources.make(reference, battery)
    modules.make()
    for load in draft.changes.loads:
        _add_test_load(draft, load, reference)
    for short in draft.changes.shorts:
        _add_short(draft, short, reference)
    _note_fuses_too_large(draft)
    if first:
        draft.draws.sort(key=lambda draw: not draw.name.startswith(f"{first}."))
    return Model(
        draft.circuit,
        draft.key,
        draft.changes,
        draft.limits,
        switching.settled,
        switching.states,
        draft.names,
        draft.branches,
        draft.draws,
        reference,
        battery,
        battery_state,
        tuple(draft.undecided),
        switching.held,
        modules.inside,
        tuple(draft.notes),
    )


def _add_test_load(draft: Draft, load: AddedLoad, reference: int) -> None:
    """A test load as a branch or a draw; its other lead is clipped on a battery post."""
    plus, minus = load.node, reference
    if load.level != "supply":
        plus, minus = _plus(draft, reference), load.node
    amounts = (load.amount, load.amount, load.amount)
    if load.kind == "resistor":
        draft.branches.append(Branch(plus, minus, -1, "test load", "", Ohms(*amounts, 0.0, "test load")))
    else:
        draft.draws.insert(0, Draw(load.words, plus, minus, load.kind, amounts, draft.system_v))


def _plus(draft: Draft, reference: int) -> int:
    """Battery positive."""
    return next((branch.b for branch in draft.branches if branch.is_battery and branch.kind != "generator"), reference)


def _add_short(draft: Draft, short: Short, reference: int) -> None:
    other = short.other
    if other is None:
        other = _plus(draft, reference) if short.to == "supply" else reference
    draft.branches.append(Branch(short.node, other, -1, "short", "", Ohms.of(contact_ohm("short circuit"))))


def _note_fuses_too_large(draft: Draft) -> None:
    for name, amps in draft.changes.fitted_a.items():
        facts = draft.facts(name)
        assert isinstance(facts, FuseFacts)
        if facts.amps is not None and amps > facts.amps:
            draft.notes.append(
                f"{name}: {figures.stated(amps, 'A')} in place of {figures.stated(facts.amps, 'A')} no longer protects its wires; the drop tells nothing about that"
            )
