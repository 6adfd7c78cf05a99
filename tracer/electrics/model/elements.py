"""How many ohms each link has: from size and length where they are typed in, from stated allowances where they are not."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from tracer.circuit.kinds import PartKind
from tracer.circuit.model import Circuit, Link, LinkKind, Part
from tracer.entry.models import ContactFacts, FuseFacts, LoadFacts, RelayFacts, SwitchFacts, TwoPinFacts
from tracer.standards import allowances, figures
from tracer.standards.allowances import Span, contact_ohm, unknown_wire
from tracer.standards.conductors import copper_resistivity, copper_temperature_coefficient, max_resistance_mohm_per_m
from tracer.standards.conductors import largest_fuse_a as allowed_fuse
from tracer.standards.fuses import UnknownFuseKind, cold_resistance_mohm

HOT_FUSE_DROP_V = 0.1  # usual drop of a fuse at its rating (tables of `standards.fuses`: 84 to 176 mV for blades)


@dataclass(frozen=True, slots=True)
class Ohms:
    """Least, nominal and greatest resistance of one element, Ω, what of it is copper (nominal), and what it rests on.

    `assumed` holds what was not typed in and had to be taken by default; empty where everything was typed. `contact` is what of the three is that of
    `contacts` contacts of which no ohms are typed in.
    """

    low: float
    nominal: float
    high: float
    copper: float = 0.0
    basis: str = ""
    assumed: str = ""
    contact: tuple[float, float, float] = (0.0, 0.0, 0.0)
    contacts: int = 0

    @staticmethod
    def of(span: Span, basis: str = "", assumed: str = "") -> Ohms:
        """A range of a table."""
        return Ohms(span.low, span.nominal, span.high, 0.0, basis or "allowance", assumed)

    @staticmethod
    def of_contact(span: Span, basis: str = "") -> Ohms:
        """One contact."""
        one = Ohms.of(span, basis)
        return replace(one, contact=(span.low, span.nominal, span.high), contacts=1)

    def with_contacts_at(self, share: float) -> Ohms:
        """With that share of what its contacts have."""
        low, nominal, high = self.contact
        away = 1.0 - share
        most = figures.volts(allowances.contact_most_v().value)
        return replace(
            self, low=self.low - away * low, nominal=self.nominal - away * nominal, high=self.high - away * high,
            basis=f"{self.basis}; at most {most} in each contact in order", contact=(share * low, share * nominal, share * high),
        )  # fmt: skip


def ohms_of(circuit: Circuit, link: Link, system_v: float, fitted_a: float | None = None) -> Ohms | None:
    """Resistance of a link, or None for a load of which nothing is typed in (its current is taken by default).

    Parameters
    ----------
    system_v : loads are rated at this voltage
    fitted_a : rating of the fuse that really sits there, where it is not the one typed in
    """
    return LINKS[link.kind].ohms(circuit, link, system_v, fitted_a)


# --- wires ---------------------------------------------------------------------------------------------------------


def wire_ohms(circuit: Circuit, link: Link) -> Ohms:
    """A wire with the crimps at its ends.

    Nominal is the greatest resistance that the standard allows the size at 20 °C; low is solid copper of the nominal area in the cold,
    high the standard's maximum at the warm end: an engine bay, or what the vehicle says.
    """
    wire = circuit.wire_of(link)
    ends = sum(bool(circuit.node_parts[node]) for node in (link.a, link.b))
    return _wire_with_crimps(
        ends, wire.medium, wire.area_mm2, wire.length_m, wire.size_text, circuit.typed.vehicle.warmest
    )


@lru_cache(maxsize=4096)  # a vehicle has few kinds of wire, and every key state asks again
def _wire_with_crimps(
    ends: int,
    medium: str,
    area_mm2: float | None,
    length_m: float | None,
    size_text: str | None,
    warmest_c: float | None,
) -> Ohms:
    joint = contact_ohm("crimp or terminal at a wire end", made_for_a(area_mm2))
    low, nominal, high, basis, assumed = _copper(medium, area_mm2, length_m, size_text, warmest_c)
    return Ohms(
        low + ends * joint.low,
        nominal + ends * joint.nominal,
        high + ends * joint.high,
        nominal,
        basis,
        assumed,
        (ends * joint.low, ends * joint.nominal, ends * joint.high),
        ends,
    )


@lru_cache(maxsize=1024)
def made_for_a(area_mm2: float | None) -> float | None:
    """The current that a contact on a wire of this size is made for: that of the largest fuse usually put before it. None where the size is not known."""
    most = allowed_fuse(area_mm2) if area_mm2 else None
    return most.value if most is not None else None


def _copper(
    medium: str, area_mm2: float | None, length_m: float | None, size_text: str | None, warmest_c: float | None
) -> tuple[float, float, float, str, str]:
    if medium == "track":
        span = unknown_wire("panel track")
        return span.low, span.nominal, span.high, "panel track", "panel track"
    assumed = []
    area, length, cold, warm = unknown_wire("area"), unknown_wire("length"), *wire_temperatures_c(warmest_c)
    areas = (area.low, area.nominal, area.high)
    if area_mm2 is not None:
        areas = (area_mm2,) * 3
    else:
        assumed.append(f"size ({figures.stated_range(area.high, area.low, 'mm²')} taken)")
    lengths = (length.low, length.nominal, length.high)
    if length_m is not None:
        lengths = (length_m,) * 3
    else:
        assumed.append(f"length ({figures.stated_range(length.low, length.high, 'm')} taken)")
    solid = copper_resistivity()
    low = solid.value / areas[0] * (1 + copper_temperature_coefficient().value * (cold - 20)) * lengths[0]
    nominal = max_resistance_mohm_per_m(areas[1]).value / 1000 * lengths[1]
    high = max_resistance_mohm_per_m(areas[2], warm).value / 1000 * lengths[2]
    size = size_text or "size not known"
    shown = figures.stated(length_m, "m") if length_m is not None else "length not known"
    return min(low, nominal), nominal, max(high, nominal), f"{size}, {shown}", " and ".join(assumed)


def wire_temperatures_c(warmest_c: float | None) -> tuple[float, float]:
    """The coldest and the warmest that a wire is computed at, °C; the vehicle may say the latter."""
    span = allowances.conductor_temperature_c()
    return span.low, span.high if warmest_c is None else warmest_c


# --- fuses ---------------------------------------------------------------------------------------------------------


def fuse_element_ohms(facts: FuseFacts, rating_a: float | None, *, cold: bool = False) -> Ohms:
    """The element of a fuse without its clips.

    Cold resistance from the tables; where a family has none, from the usual drop at rating. `cold` gives the range of makes alone, otherwise the
    upper end holds a warm element too.
    """
    spread = allowances.spread("cold resistance of a fuse" if cold else "resistance of a fuse, loaded")
    if rating_a is None:
        return Ohms(0.001, 0.008, 0.04, 0.0, "rating not known: 2 to 60 A taken", "rating")
    found = _table_ohm(facts, rating_a)
    if found is not None:
        nominal, basis, assumed = found
        return Ohms(nominal * spread.low, nominal, nominal * spread.high, 0.0, basis, assumed)
    # the element is about 1.4 times as resistive at its rating as cold
    nominal = HOT_FUSE_DROP_V / rating_a / 1.4
    return Ohms(
        nominal * 0.6,
        nominal,
        nominal * 1.9,
        0.0,
        f"{figures.stated(rating_a, 'A')}, no table: from 100 mV at rating",
        "resistance of the element",
    )


def _table_ohm(facts: FuseFacts, rating_a: float) -> tuple[float, str, str] | None:
    return _found_ohm(facts.type, facts.kind_name, rating_a)


@lru_cache(maxsize=1024)
def _found_ohm(typed: str | None, kind_name: str, rating_a: float) -> tuple[float, str, str] | None:
    kinds = [typed] if typed else ["medium blade", "miniature blade"] if kind_name == "fuse" else []
    for kind in kinds:
        try:
            found = cold_resistance_mohm(rating_a, kind)
        except UnknownFuseKind:
            continue
        if found is not None:
            assumed = "" if typed else "blade fuse"
            return found.value / 1000, f"{figures.stated(rating_a, 'A')}, {found.certainty}", assumed
    return None


def _position_ohms(circuit: Circuit, link: Link, fitted_a: float | None) -> Ohms:
    facts = circuit.parts[link.part].facts
    assert isinstance(facts, FuseFacts)
    if facts.state == "none":
        return Ohms.of(contact_ohm("high-side output"), "electronic output in place of a fuse")
    rating_a = fitted_a if fitted_a is not None else facts.amps
    element = fuse_element_ohms(facts, rating_a)
    clips = contact_ohm("bolted point" if facts.kind_name == "link" else "fuse clips, both", rating_a)
    return Ohms(
        element.low + clips.low,
        element.nominal + clips.nominal,
        element.high + clips.high,
        0.0,
        element.basis,
        f"{element.assumed} of {link.part}" if element.assumed else "",
        (clips.low, clips.nominal, clips.high),
        2,
    )


# --- straps and loads ----------------------------------------------------------------------------------------------


def _strap_ohms(circuit: Circuit, link: Link) -> Ohms:
    facts = circuit.parts[link.part].facts
    assert isinstance(facts, TwoPinFacts)
    if facts.ohms is None:
        return Ohms.of(contact_ohm("ground strap"), "strap, resistance not typed in", f"{link.part}: resistance")
    return Ohms(facts.ohms, facts.ohms, facts.ohms, 0.0, f"{figures.ohms(facts.ohms)} as typed")


def load_ohms(circuit: Circuit, name: str, system_v: float) -> Ohms | None:
    """A load as the resistor it is at its rated voltage; None where neither W, A nor Ω is typed in."""
    facts = circuit.parts[name].facts
    if isinstance(facts, TwoPinFacts) and facts.ohms is not None:
        return Ohms(facts.ohms, facts.ohms, facts.ohms, 0.0, f"{figures.ohms(facts.ohms)} as typed")
    if not isinstance(facts, LoadFacts):
        return None
    if facts.watts is not None:
        ohm, spread = system_v**2 / facts.watts, allowances.spread("watts of a load")
        return Ohms(
            ohm / spread.high,
            ohm,
            ohm / spread.low,
            0.0,
            f"{figures.stated(facts.watts, 'W')} at {figures.stated(system_v, 'V')}",
        )
    if facts.amps is not None:
        ohm = system_v / facts.amps
        return Ohms(ohm, ohm, ohm, 0.0, f"{figures.stated(facts.amps, 'A')} at {figures.stated(system_v, 'V')}")
    return None


# --- one row for each kind of link ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LinkRow:
    """`word`: what such a branch is called (`{kind}` stands for the kind of its part); `ohms`: its resistance, None where its current is taken by default."""

    word: str
    ohms: Callable[[Circuit, Link, float, float | None], Ohms | None]

    def called(self, part: Part | None) -> str:
        """What the branch is called in a part."""
        return self.word.format(kind=part.kind) if part is not None and "{" in self.word else self.word


def plain(item: str) -> Callable[[Circuit, Link, float, float | None], Ohms]:
    """The ohms of a row of the allowances."""
    return lambda circuit, link, system_v, fitted_a: Ohms.of(contact_ohm(item))


def joint(item: str) -> Callable[[Circuit, Link, float, float | None], Ohms]:
    """The same of a joint, which is bound to what a contact in order loses at most."""
    return lambda circuit, link, system_v, fitted_a: Ohms.of_contact(contact_ohm(item))


def contact(item: str) -> Callable[[Circuit, Link, float, float | None], Ohms]:
    """The ohms of a contact: as typed in, else by the current it is made for."""
    return lambda circuit, link, system_v, fitted_a: contact_between(circuit, link, item)


def contact_between(circuit: Circuit, link: Link, item: str) -> Ohms:
    """A contact: as typed in, else by the rating of its part, else by the thinner of the wires at its two ends, of several at one end by the thickest."""
    part = circuit.parts.get(link.part)
    facts = part.facts if part is not None else None
    if isinstance(facts, ContactFacts) and facts.contact_ohms is not None:
        ohm = facts.contact_ohms
        return Ohms(ohm, ohm, ohm, 0.0, f"{figures.ohms(ohm)} as typed")
    made_a = facts.amps if isinstance(facts, RelayFacts | SwitchFacts) else None
    if made_a is None:
        wires_mm2 = [area for node in (link.a, link.b) if (area := circuit.thickest_mm2[node])]
        made_a = made_for_a(min(wires_mm2, default=None))
    return _contact_made_for(item, made_a)


@lru_cache(maxsize=1024)
def _contact_made_for(item: str, made_a: float | None) -> Ohms:
    basis = f"contact made for {figures.stated(made_a, 'A')}" if made_a is not None else ""
    return Ohms.of_contact(contact_ohm(item, made_a), basis)


def _of_contact(circuit: Circuit, link: Link, system_v: float, fitted_a: float | None) -> Ohms:
    relay = circuit.parts[link.part].kind is PartKind.RELAY
    return contact_between(circuit, link, "relay contact" if relay else "switch contact")


def _of_coil(circuit: Circuit, link: Link, system_v: float, fitted_a: float | None) -> Ohms:
    return Ohms.of(allowances.coil_ohm(system_v), "relay coil, not typed in", f"{link.part}: coil resistance")


LINKS: Mapping[LinkKind, LinkRow] = {
    LinkKind.WIRE: LinkRow("wire", lambda circuit, link, system_v, fitted_a: wire_ohms(circuit, link)),
    LinkKind.REFERENCE: LinkRow(
        "same wire",
        lambda circuit, link, system_v, fitted_a: Ohms(0.0, 0.0, 0.0, 0.0, "one conductor, drawn on two sheets"),
    ),
    LinkKind.FUSE: LinkRow("{kind}", lambda circuit, link, system_v, fitted_a: _position_ohms(circuit, link, fitted_a)),
    LinkKind.MATING: LinkRow("mating", contact("cavity of an in-line connector")),
    LinkKind.BUSSED: LinkRow("joint", contact("cavity of a joint connector")),
    LinkKind.BUSBAR: LinkRow("busbar", joint("busbar with its joint")),
    LinkKind.MASS: LinkRow("ground point", contact("eyelet on a ground point")),
    LinkKind.STRAP: LinkRow("strap", lambda circuit, link, system_v, fitted_a: _strap_ohms(circuit, link)),
    LinkKind.MEETS: LinkRow("bolted", contact("bolted point")),
    LinkKind.RAIL: LinkRow("rail", joint("busbar with its joint")),
    LinkKind.CONTACT: LinkRow("contact of {kind}", _of_contact),
    LinkKind.DIODE: LinkRow("diode", plain("diode, slope")),
    LinkKind.JOINED: LinkRow("bridge in", plain("bridge inside a module")),
    LinkKind.DRIVER_HIGH: LinkRow("output of", plain("high-side output")),
    LinkKind.DRIVER_LOW: LinkRow("output of", plain("low-side output")),
    LinkKind.COIL: LinkRow("coil", _of_coil),
    LinkKind.LOAD: LinkRow("load", lambda circuit, link, system_v, fitted_a: load_ohms(circuit, link.part, system_v)),
    LinkKind.RESISTOR: LinkRow(
        "resistor", lambda circuit, link, system_v, fitted_a: load_ohms(circuit, link.part, system_v)
    ),
    LinkKind.CONVERTER: LinkRow("load", lambda circuit, link, system_v, fitted_a: None),
}
