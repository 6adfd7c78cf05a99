"""Part types: relay and switch kinds that vehicles use by name.

They are data: `shared/*.yaml` of the project, and `types.yaml` in the vehicle's own folder, which may add kinds or replace one.
"""

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from pydantic import Field

from tracer.entry.facts import Facts, Path_, read_facts
from tracer.entry.problems import CannotUse, Problem, did_you_mean
from tracer.entry.scalars import RESET, Coil, Contacts, Text
from tracer.entry.text import TypedFile, read_file


class KindFacts(Facts):
    """One relay or switch kind."""

    is_: Text = Field(alias="is", description="relay or switch")
    text: Text | None = None
    coil: Coil | None = None
    reset: Coil | None = RESET
    contacts: dict[str, Contacts]
    follows: Text | None = None
    lag: Text | None = Field(None, description="what a timed relay does after its coil has changed")


class KindsFile(Facts):
    """`types.yaml` and the files under `shared/`."""

    kinds: dict[str, KindFacts]


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
    for path in sorted(path for path in folder.iterdir() if path.suffix == ".yaml"):
        kinds.update(_read(folder, path.name, problems))
    if problems:
        raise CannotUse(problems)
    return kinds


def kinds_of(folder: Path, problems: list[Problem]) -> Mapping[str, KindFacts]:
    """The shared kinds, with those of the vehicle's own `types.yaml` added."""
    types = folder / "types.yaml"
    if not types.exists() and not types.is_symlink():
        return shared_kinds()
    return {**shared_kinds(), **_read(folder, "types.yaml", problems)}


def _read(folder: Path, name: str, problems: list[Problem]) -> dict[str, KindFacts]:
    file = read_file(folder, name, problems)
    if file is None:
        return {}

    def report(at: Path_, what: str, fix: str, *, text: str = "", key: bool = False) -> None:
        problems.append(
            file.problem(
                file.place_of(at, key=key, text=text),
                what,
                f"{fix} docs/part-types.md shows how a kind is written.",
                text,
            )
        )

    found: KindsFile | None = read_facts(KindsFile, file.tree, (), report)
    kinds = found.kinds if found else {}
    for kind, kind_facts in kinds.items():
        _check(file, kind, kind_facts, problems)
    return kinds


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
