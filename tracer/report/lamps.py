"""Test lamps in words."""

from __future__ import annotations

from tracer.electrics.volts.values import Lamp, Why
from tracer.standards import figures


def lamp_words(lamp: Lamp) -> str:
    """'12 V lamp 21 W (1.75 A): below half of 7.5 A', or why there is none."""
    if lamp.watts is None:
        return f"no lamp: {reason(lamp)}"
    made_for = f"{figures.stated(lamp.system_v, 'V')} " if lamp.system_v else ""
    return f"{made_for}lamp {figures.stated(lamp.watts, 'W')} ({figures.amps(lamp.current_a)}): {reason(lamp)}"


def lead_words(leads: tuple[tuple[str, str], ...]) -> str:
    """'1 A fused lead 11 to 1': what stands in for the outputs of an unplugged module (common practice, no source)."""
    return f"1 A fused lead {', '.join(f'{pin} to {ground}' for pin, ground in leads)}"


def reason(lamp: Lamp) -> str:
    """Why this lamp, or why none."""
    by = lamp.of
    match lamp.why:
        case Why.NO_METHOD:
            return lamp.withheld
        case Why.NO_FEED:
            return "signal, bus, reference and shield pins take no lamp"
        case Why.SYSTEM:
            return f"no usual lamp for {figures.stated(by or 0.0, 'V')}; use a load that the maker names"
        case Why.TOO_SMALL_A_FUSE:
            return f"even the smallest lamp draws half of {figures.stated(by or 0.0, 'A')} or more; meter only"
        case Why.PARTLY_RATED:
            return "no lamp is small enough for the known fuses"
        case Why.UNRATED:
            return "to battery negative; no fuse rating known on the way, so the smallest lamp"
        case Why.BELOW_FUSE:
            return f"to battery negative; below half of {figures.stated(by or 0.0, 'A')}"
        case Why.GENTLE:
            return "to battery negative; no larger behind an electronic output or a diode"
        case Why.WIRE:
            size = "wire of unknown size" if by is None else f"wire of {figures.stated(by, 'mm²')}"
            return f"{size}, from battery positive over a fused lead"
        case Why.ASKED:
            assert by is not None and lamp.watts is not None
            larger = f"; TOO LARGE: its fuse or wire allows {figures.stated(by, 'W')}" if lamp.watts > by else ""
            return f"as asked for{larger}"
