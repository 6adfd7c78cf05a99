"""The kinds of part, by the word that is typed behind `is:`. What each layer has to know of a kind stands in one table of that layer.

| layer | table |
|---|---|
| how it is typed | `KINDS` in `entry/models.py` |
| its pins, what joins them inside, how a run writes it | `PARTS` in `circuit/kinds.py`; links: `LINKS` there |
| where it is probed, what it draws, how it opens | `PARTS` in `trace/kinds.py` |
| ohms and words of a link | `LINKS` in `electrics/model/elements.py` |
| how it is drawn | `PARTS` and `LINKS` in `report/kinds.py` |
| how often a link fails | `pieces` in `standards/data/faults.yaml` |

`tests/test_kinds.py` lists every table that lacks a row; docs/adding/kind-of-part.md adds a kind, step by step.
"""

from __future__ import annotations

from enum import StrEnum


class PartKind(StrEnum):
    """What a part is. Each is equal to the word that is typed."""

    MODULE = "module"
    FUSE = "fuse"
    LINK = "link"
    BREAKER = "breaker"
    PANEL = "panel"
    SPLICE = "splice"
    CONNECTOR = "connector"
    JOINT = "joint"
    GROUND = "ground"
    STRAP = "strap"
    BATTERY = "battery"
    GENERATOR = "generator"
    CONVERTER = "converter"
    LOAD = "load"
    RESISTOR = "resistor"
    DIODE = "diode"
    SWITCH = "switch"
    RELAY = "relay"
    BOX = "box"


IN_A_POSITION = (  # what may sit in a position of a panel, in the order in which it is offered
    PartKind.FUSE, PartKind.LINK, PartKind.BREAKER, PartKind.RELAY, PartKind.DIODE, PartKind.SWITCH, PartKind.RESISTOR,
)  # fmt: skip

__all__ = ["IN_A_POSITION", "PartKind"]
