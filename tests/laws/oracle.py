"""A slow and obvious second opinion: reads the typed files on its own and lists every simple path one by one.

It shares no code with the tool: files are read with the plain YAML reader, a run is cut at ` -- `, and what lies on the ways is what some simple path
of networkx touches on which one setting of all switches closes every contact. It knows the kinds of part that the random vehicles use, written as they write them, and nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import networkx as nx
import yaml

LOADS = ("coil", "load")
CONDUCTORS = ("wire", "fuse", "mate", "bus", "mass", "strap", "joined")


@dataclass(frozen=True)
class Seen:
    """What lies on the ways of one pin."""

    points: frozenset[str]
    sole: frozenset[str]
    fuses: frozenset[str]
    ends: frozenset[str]
    sole_fuses: frozenset[str]
    contacts: frozenset[str]


@dataclass
class Oracle:
    """The typed vehicle as a plain list of joints: (from, to, kind, part). A diode and a driver lead one way for supply."""

    joints: list[tuple[str, str, str, str]] = field(default_factory=list)
    parts: dict[str, dict[str, Any]] = field(default_factory=dict)
    sources: set[str] = field(default_factory=set)
    grounds: set[str] = field(default_factory=set)
    wired: set[str] = field(default_factory=set)
    passing: set[str] = field(default_factory=set)  # sources that may be dead: a way runs on through them
    guards: dict[int, tuple[str, frozenset[str]]] = field(
        default_factory=dict
    )  # joint: what moves it, where it is closed

    @classmethod
    def read(cls, folder: Path) -> Oracle:
        oracle = cls()
        vehicle = yaml.load((folder / "vehicle.yaml").read_text(encoding="utf-8"), yaml.BaseLoader)
        sheets = [
            yaml.load(path.read_text(encoding="utf-8"), yaml.BaseLoader)
            for path in sorted((folder / "sheets").iterdir())
        ]
        for sheet in sheets:
            for name, facts in (sheet.get("parts") or {}).items():
                oracle.parts.setdefault(name, {}).update({"is": facts} if isinstance(facts, str) else facts)
        for rail, live in (vehicle.get("rails") or {}).items():
            if live == "din":  # the usual meaning of its number, which is known for key states of the usual names only
                live = {"31": "ground", "30": "always" if "off" in vehicle["key"] else "unknown"}.get(rail, "run")
            (oracle.grounds if live == "ground" else oracle.sources).add(rail)
            if live not in ("ground", "always"):
                oracle.passing.add(rail)
        for name, facts in oracle.parts.items():
            oracle._inside(name, facts)
        marks: dict[tuple[str, str], str] = {}
        for sheet in sheets:
            for run in sheet.get("runs") or []:
                oracle._run(run, marks)
        for (here, there), point in marks.items():
            if here < there:
                oracle.joints.append((point, marks[there, here], "wire", ""))
        return oracle

    def _inside(self, name: str, facts: dict[str, Any]) -> None:
        match facts["is"]:
            case "fuse":
                self.joints.append((f"{name}.feed", f"{name}.load", "fuse", name))
            case "connector":
                for cavity in facts["cavities"]:
                    self.joints.append((f"{name}.{cavity}:a", f"{name}.{cavity}:b", "mate", name))
            case "joint":
                for number, group in enumerate(facts["bussed"]):
                    self.joints += [(f"{name}.{pin}", f"{name} group {number}", "bus", name) for pin in group]
            case "ground":
                self.joints.append((name, f"mass {facts.get('on', 'body')}", "mass", name))
            case "strap":
                self.joints.append((f"{name}.1", f"{name}.2", "strap", name))
            case "diode":
                self.joints.append((f"{name}.A", f"{name}.K", "diode", name))
            case "load":
                self.joints.append((f"{name}.1", f"{name}.2", "load", name))
            case "relay":
                self._relay(name, facts["kind"])
            case "switch" if "contacts" in facts:
                pairs: dict[tuple[str, str], list[str]] = {}
                for position, groups in facts["contacts"].items():
                    for group in groups:
                        first, second = group.split("-")
                        pairs.setdefault((first, second), []).append(position)
                for (first, second), closed in pairs.items():
                    mover = "key" if facts.get("follows") == "key" else name
                    self._contact(mover, f"{name}.{first}", f"{name}.{second}", closed)
            case "switch":  # a make switch
                self._contact(name, f"{name}.1", f"{name}.2", ["on"])
            case "converter":
                self.sources.add(f"{name}.out")
                self.passing.add(f"{name}.out")
                self.joints.append((f"{name}.in", f"{name}.ground", "load", name))
            case "generator":
                self.sources.add(f"{name}.B+")
                self.passing.add(f"{name}.B+")
            case "battery":
                self.sources.add(f"{name}.+")
                self.grounds.add(f"{name}.-")
            case "module":
                for group in facts.get("joined", []):
                    self.joints += [(f"{name}.{group[0]}", f"{name}.{pin}", "joined", name) for pin in group[1:]]
                for pin, output in (facts.get("outputs") or {}).items():
                    if output["drives"] in ("high", "both"):
                        self.joints.append((f"{name}.{output['from']}", f"{name}.{pin}", "high", name))
                    if output["drives"] in ("low", "both"):
                        self.joints.append((f"{name}.{pin}", f"{name}.{output['through']}", "low", name))
            case "panel":
                called = {label: self._called(name, label) for label in facts["positions"]}
                for origin, fed in facts["busbars"].items():
                    for label in fed:
                        point = label if "." in label else f"{called[label]}.feed"
                        self.joints.append((origin, point, "wire", name))
                        self.wired |= {origin, point}
                for label, what in facts["positions"].items():
                    if isinstance(what, dict):
                        self._relay(label, what["kind"])
                    else:
                        self.joints.append((f"{called[label]}.feed", f"{called[label]}.load", "fuse", called[label]))

    def _called(self, panel: str, label: str) -> str:
        """A position by its label, and with its panel where another one has that label too."""
        others = (facts for name, facts in self.parts.items() if facts["is"] == "panel" and name != panel)
        return f"{panel}/{label}" if any(label in facts["positions"] for facts in others) else label

    def _relay(self, name: str, kind: str) -> None:
        self.joints.append((f"{name}.86", f"{name}.85", "coil", name))
        self._contact(name, f"{name}.30", f"{name}.87", ["energised"])
        if kind == "change-over":
            self._contact(name, f"{name}.30", f"{name}.87a", ["rest"])

    def _contact(self, mover: str, a: str, b: str, closed: list[str]) -> None:
        self.guards[len(self.joints)] = mover, frozenset(closed)
        self.joints.append((a, b, "contact", a.split(".")[0]))

    def _run(self, run: str, marks: dict[tuple[str, str], str]) -> None:
        pieces = run.split(" -- ")
        points = pieces[::2]
        for a, b in pairwise(points):
            names = []
            for point, leaving in ((a, True), (b, False)):
                if point.startswith("ref "):
                    here, there = point[4:].split(">")
                    marks[here, there] = point
                    names.append(point)
                elif point in self.parts and self.parts[point]["is"] == "fuse":  # passed: in at feed, out at load
                    names.append(f"{point}.{'load' if leaving else 'feed'}")
                elif ":" not in point and self.parts.get(point.split(".")[0], {}).get("is") == "connector":
                    names.append(f"{point}:{'b' if leaving else 'a'}")
                else:
                    names.append(point)
            self.joints.append((names[0], names[1], "wire", ""))
            self.wired |= set(names)

    # --- what is asked -------------------------------------------------------------------------------------------

    def hard(self, ends: set[str]) -> set[str]:
        """Everything that is one conductor with an end, nothing inside a module passed."""
        graph = nx.Graph()
        graph.add_nodes_from(ends)
        graph.add_edges_from((a, b) for a, b, kind, _ in self.joints if kind in CONDUCTORS and kind != "joined")
        return {node for end in ends for node in nx.node_connected_component(graph, end)}

    def all_grounds(self) -> set[str]:
        """The grounds, with the body as an assumed one where no battery negative is joined with it."""
        graph = nx.Graph((a, b) for a, b, kind, _ in self.joints if kind in (*CONDUCTORS, "contact"))
        body = "mass body"
        if body in graph and not nx.node_connected_component(graph, body) & self.grounds:
            return self.grounds | {body}
        return set(self.grounds)

    def seen_from(self, pin: str, level: str, module: str) -> Seen | None:
        """What lies on some simple path from the ends, taken as one, to a pin; None when there is none."""
        grounds = self.all_grounds()
        supply, ground = self.hard(self.sources), self.hard(grounds)
        ends, barred = (self.sources, ground - supply) if level == "supply" else (grounds, supply - ground)
        if pin in ends - self.passing:
            return None
        paths = self.paths(pin, level, module, ends, barred)
        if not paths:
            return None
        touched = [
            {point for number in path for point in (self.joints[number][:2] if isinstance(number, int) else [number])}
            for path in paths
        ]
        every = set.intersection(*touched)
        joints = {number for path in paths for number in path if isinstance(number, int)}
        points = set.union(*touched)
        begins = {number for path in paths for number in path if isinstance(number, str)}
        fuses = [
            {self.joints[n][3] for n in path if isinstance(n, int) and self.joints[n][2] == "fuse"} for path in paths
        ]
        return Seen(
            frozenset(points),
            frozenset(every),
            frozenset(part for number in joints for _, _, kind, part in [self.joints[number]] if kind == "fuse"),
            frozenset(points & (ends - self.passing) | begins),
            frozenset(set.intersection(*fuses)),
            frozenset(part for number in joints for _, _, kind, part in [self.joints[number]] if kind == "contact"),
        )

    def paths(
        self, pin: str, level: str, module: str, ends: set[str], barred: set[str], gone: frozenset[int] = frozenset()
    ) -> list[list[int | str]]:
        """Every simple path to a pin that one setting of all switches closes: its joints, and by its name the source that may be dead where it begins."""
        graph = nx.MultiDiGraph()
        graph.add_nodes_from(["ENDS", pin])
        for number, (a, b, kind, part) in enumerate(self.joints):
            if number in gone or kind in LOADS or kind == {"supply": "low", "ground": "high"}[level]:
                continue
            if part == module and kind in ("joined", "high", "low"):
                continue
            if {a, b} & (barred - ends):
                continue
            here, there = ("ENDS" if point in ends - self.passing else point for point in (a, b))
            if here == there:
                continue
            one_way = kind in ("diode", "high", "low")
            if not one_way or level == "supply":
                graph.add_edge(here, there, key=number)
            if not one_way or level == "ground":
                graph.add_edge(there, here, key=number)
        for source in self.passing & ends if level == "supply" else ():
            graph.add_edge("ENDS", source, key=source)
        paths = [[step[2] for step in path] for path in nx.all_simple_edge_paths(graph, "ENDS", pin)]
        return [path for path in paths if self._one_setting(path)]

    def _one_setting(self, path: list[int | str]) -> bool:
        left: dict[str, frozenset[str]] = {}
        for number in path:
            if isinstance(number, int) and number in self.guards:
                mover, closed = self.guards[number]
                left[mover] = left.get(mover, closed) & closed
        return all(left.values())


def touchable(points: frozenset[str]) -> frozenset[str]:
    """Without the points that nobody can touch: masses, the inside of a joint connector, the ends of references, rails."""
    return frozenset(
        point
        for point in points
        if not point.startswith(("mass ", "ref ")) and " group " not in point and not point.isdigit()
    )
