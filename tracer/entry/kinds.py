"""Part types: relay and switch kinds that vehicles use by name.

They are data: `shared/*.yaml` of the project, and `types.yaml` in the vehicle's own folder, which may add kinds or replace one.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from tracer.entry.models import Coil, ContactGroups, Facts, Text
from tracer.entry.problems import CannotUse, Problem, did_you_mean
from tracer.entry.text import TypedFile, read_file


class KindFacts(Facts):
    """One relay or switch kind."""

    is_: Text = Field(alias="is", description="relay or switch")
    text: Text | None = None
    coil: Coil | None = None
    reset: Coil | None = Field(default=None, description="the second coil of a latching relay")
    contacts: dict[Text, ContactGroups]
    follows: Text | None = None
    lag: Text | None = Field(default=None, description="what a timed relay does after its coil has changed")


class KindsFile(Facts):
    """`types.yaml` and the files under `shared/`."""

    kinds: dict[Text, KindFacts]


def shared_folder() -> Path:
    """Where the part types of the project are: inside the installed package, or at the top of a checkout."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "_shared"
    return inside if inside.is_dir() else package.parent / "shared"


@cache
def shared_kinds() -> Mapping[str, KindFacts]:
    """All kinds of the project's `shared/` folder."""
    problems: list[Problem] = []
    kinds: dict[str, KindFacts] = {}
    folder = shared_folder()
    for path in sorted(folder.glob("*.yaml")):
        kinds.update(_read(folder, path.name, problems))
    if problems:
        raise CannotUse(problems)
    return kinds


def kinds_of(folder: Path, problems: list[Problem]) -> Mapping[str, KindFacts]:
    """The shared kinds, with those of the vehicle's own `types.yaml` added."""
    if not (folder / "types.yaml").exists():
        return shared_kinds()
    return {**shared_kinds(), **_read(folder, "types.yaml", problems)}


def _read(folder: Path, name: str, problems: list[Problem]) -> dict[str, KindFacts]:
    file = read_file(folder, name, problems)
    if file is None:
        return {}
    try:
        kinds = KindsFile.model_validate(file.tree).kinds
    except ValidationError as error:
        for found in error.errors(include_url=False):
            problems.append(_problem(file, found))
        return {}
    for kind, facts in kinds.items():
        _check(file, kind, facts, problems)
    return kinds


def _problem(file: TypedFile, found: Any) -> Problem:
    location = tuple(step for step in found["loc"] if step != "[key]")
    last = str(location[-1]) if location else "the file"
    place = file.place_of(location, key=found["type"] == "extra_forbidden")
    if found["type"] == "misread":
        return file.problem(place, f"{last}: {found['ctx']['what']}", found["ctx"]["fix"])
    if found["type"] == "extra_forbidden":
        known = [field.alias or name for name, field in KindFacts.model_fields.items()]
        return file.problem(
            place,
            f"`{last}` is not known here",
            did_you_mean(last, known, f"Known here: {', '.join(known)}."),
            last,
        )
    if found["type"] == "missing":
        return file.problem(place, f"`{last}` is missing", f"Add `{last}: ...`; docs/part-types.md shows how.")
    return file.problem(place, f"{last}: {found['msg']}", "docs/part-types.md shows how a kind is written.")


def _check(file: TypedFile, kind: str, facts: KindFacts, problems: list[Problem]) -> None:
    path = ("kinds", kind)
    if facts.is_ not in ("relay", "switch"):
        problems.append(
            file.problem(
                file.place_of((*path, "is")),
                f"`{facts.is_}` has no kinds",
                "Write `is: relay` or `is: switch`.",
                facts.is_,
            )
        )
    if facts.is_ == "relay":
        if facts.coil is None:
            problems.append(
                file.problem(
                    file.place_of(path, key=True),
                    f"{kind}: a relay kind needs its coil",
                    "Add `coil: 86-85`.",
                )
            )
        for position in facts.contacts:
            if position not in ("rest", "energised"):
                fix = did_you_mean(position, ("rest", "energised"), "Write `rest` or `energised`.")
                problems.append(
                    file.problem(
                        file.place_of((*path, "contacts", position), key=True),
                        f"`{position}` is not a position of a relay",
                        fix,
                        position,
                    )
                )
