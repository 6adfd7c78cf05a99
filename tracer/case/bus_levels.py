"""Between which volts a line of a bus lies in order, from what a case keeps of the bus."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

HIGH_SPEED_KEPT = "high-speed can"
_ASLEEP_V = 0.1  # either line of a high-speed CAN that is asleep, of a case that does not keep it (from memory)


def kept_lines(kept: Mapping[str, Any]) -> tuple[str, ...]:
    """The lines of a kept bus; a case of before keeps high-speed CAN alone."""
    return tuple(kept.get("lines", ("H", "L")))


def line_levels_v(kept: Mapping[str, Any], line: str, battery_v: float, *, asleep: bool) -> tuple[float, float]:
    """The least and greatest V of a line, awake at rest or with traffic, or asleep; LIN and what sleeps at the supply follow the battery."""
    if "levels" not in kept:
        low, high = (-_ASLEEP_V, _ASLEEP_V) if asleep else kept["awake_v"]
        return float(low), float(high)
    low, high = (share * battery_v + more for share, more in kept["levels"][line]["asleep" if asleep else "awake"])
    return low, high


__all__ = ["HIGH_SPEED_KEPT", "kept_lines", "line_levels_v"]
