"""The words of the expected column: computed values where there are some, common practice where not."""

from __future__ import annotations

from tracer.plan.values import Computed, there
from tracer.report.volts import volts
from tracer.standards import figures

PLUS, MINUS = "battery positive post", "battery negative post"


def plain(level: str, state: str, why: str) -> str:
    """What is expected without a number; `state` is live, dead, depends or unknown."""
    if level == "ground":
        words = {"live": "ground", "dead": "no ground", "depends": f"ground if {why}" if why else "ground, depends"}
        return words.get(state, f"not known: {why}" if why else "not known")
    words = {
        "live": "battery voltage",
        "dead": "0 V",
        "depends": f"battery voltage if {why}" if why else "battery voltage, depends",
    }
    return words.get(state, f"not known: {why}" if why else "not known")


def reads(computed: Computed) -> str:
    """'12.27 V (11.49 to 12.72)', '60.2 Ω (58.3 to 61.0)', or that it floats."""
    value = computed.value
    if value is None:
        return "floating: about 0 V"
    if computed.unit == "ohm":
        return figures.ohms_range(value.low, value.nominal, value.high)
    return volts(value)


def dead(computed: Computed) -> str:
    """'dead: 0.02 V (0.01 to 0.13)'."""
    return f"dead, {reads(computed)}" if computed.floating else f"dead: {reads(computed)}"


def withheld(words: str, *computed: Computed | None) -> str:
    """What is expected without a number, and why there is none; as it was where nothing is withheld."""
    reasons = dict.fromkeys(one.not_computed for one in computed if one is not None and one.not_computed)
    return "; ".join([words, *reasons])


def depending(words: str, why: str, level: str, computed: Computed, system_v: float) -> str:
    """What is read where something decides, with the value in the branch for which it was computed: that in which nothing is held."""
    if there(level, computed, system_v):
        return f"{reads(computed)} if {why}" if why else reads(computed)
    return f"{words}; else {reads(computed)}"


def lost(computed: Computed) -> str:
    """'lost 0.13 (to 0.32) V, at most 0.50 V'; empty where nothing worth naming is lost."""
    nominal, high, limit = computed.lost_nominal_v, computed.lost_high_v, computed.limit_v
    if nominal is None or high is None or limit is None or high < 0.005:
        return ""
    most = f"at most {figures.volts(limit)}" if nominal <= limit else f"limit {figures.volts(limit)}"
    span = (
        figures.volts(nominal)
        if high - nominal < 0.005
        else f"{figures.volts_number(nominal)} (to {figures.volts_number(high)}) V"
    )
    return f"lost {span}, {most}"


def over_limit(computed: Computed, diodes: tuple[str, ...]) -> str:
    """Why more than the limit may be lost with everything in order; empty where it may not."""
    if computed.limit_v is None or computed.lost_nominal_v is None or computed.lost_nominal_v <= computed.limit_v:
        return ""
    if diodes:
        return f"diode {', '.join(diodes)}: over the limit in order"
    if computed.box == "loaded":
        return "the lamp draws more than the wire was made for: judge by the brackets"
    return "over the limit as typed in: check sizes and lengths"
