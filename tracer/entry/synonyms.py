"""Words of the trade that other diagrams and other workshops use, and what is typed for them here: common practice, no source.

They are answered, not read: a word may mean two things, and the typist sees which one is meant.
"""

from __future__ import annotations

from collections.abc import Mapping

KIND_WORDS: Mapping[str, str] = {
    word: kind
    for kind, words in {
        "ground": "earth, ground point, earth point, mass, chassis",
        "load": "sensor, lamp, bulb, light, motor, pump, valve, solenoid, heater, horn, injector, actuator, fan, speaker, sender, transducer",
        "module": "ecu, ecm, control unit, controller, control module, unit, computer",
        "panel": "fusebox, fuse box, fuse panel, relay box, junction box",
        "connector": "plug, socket, inline connector, in-line connector, coupling, multiplug",
        "joint": "joint connector, splice connector, bus connector, shorting connector",
        "splice": "joint splice, crimp, weld, stud, node, junction, eyelet, ring terminal, ring",
        "link": "fusible link, fuse link, fuselink, mega fuse, megafuse",
        "breaker": "circuit breaker, cut-out, mcb",
        "generator": "alternator, dynamo",
        "strap": "braid, ground strap, earth strap, ground cable, bonding strap",
        "converter": "dc-dc, dcdc, inverter, transformer",
        "battery": "accumulator, accu",
        "switch": "contact, button, pushbutton, push button, ignition switch, isolator",
        "resistor": "terminator, resistance, termination",
    }.items()
    for word in words.split(", ")
}  # fmt: skip

ROLE_WORDS: Mapping[str, str] = {
    word: role
    for role, words in {
        "supply": "power, feed, live, plus, positive, battery, b+, vcc, vbat, ubat, 12v, +12v, 24v, +24v, ignition, kl30, kl15",
        "ground": "earth, minus, negative, gnd, mass, chassis, 0v, kl31",
        "bus": "can, lin, can-h, can-l, network, flexray, ethernet",
        "signal": "input, sense, sensor, switch, analogue, analog, wake, wake-up",
        "output": "driver, pwm",
        "reference": "5v, +5v, vref, ref",
        "shield": "screen, drain",
    }.items()
    for word in words.split(", ")
}  # fmt: skip


def right_word(typed: str, words: Mapping[str, str], otherwise: str) -> str:
    """A sentence with the word that is typed here for one of the trade, or `otherwise`."""
    word = words.get(" ".join(typed.casefold().split()))
    return f"Write `{word}`: that is the word for it here." if word else otherwise
