"""What a model is made of: branches that are resistors or push, draws that are no resistors, and the choice of every uncertain value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tracer.electrics.model.elements import Ohms
from tracer.electrics.network.described import LEAST_OHM, MOST_OHM, FloatArray, IntArray
from tracer.electrics.network.load_laws import ConstantCurrent, ConstantPower, FilamentLamp
from tracer.standards.allowances import Span

LOW, NOMINAL, HIGH = 0, 1, 2  # ends and middle of an uncertain value


@dataclass(frozen=True, slots=True)
class Branch:
    """One element between two nodes. `link` is its number in the circuit, -1 for what the model adds; `volts` pushes from `a` to `b`."""

    a: int
    b: int
    link: int
    kind: str
    part: str
    ohms: Ohms
    closed: bool = True
    volts: Span | None = None
    is_diode: bool = False
    is_battery: bool = False


@dataclass(frozen=True, slots=True)
class Draw:
    """A load that is no resistor: `kind` is lamp (W at `rated_v`), power (W) or current (A). `assumed` where its amount was not typed in; `converter` whose input it is."""

    name: str
    first: int
    second: int
    kind: str
    amounts: tuple[float, float, float]
    rated_v: float
    assumed: str = ""
    converter: str = ""

    def load(self, amount: float) -> ConstantPower | ConstantCurrent | FilamentLamp:
        """The load with one of its amounts."""
        if self.kind == "lamp":
            return FilamentLamp(self.first, self.second, self.rated_v, amount)
        if self.kind == "power":
            return ConstantPower(self.first, self.second, amount, self.least_v)
        return ConstantCurrent(self.first, self.second, amount, self.least_v)

    @property
    def gives_up(self) -> bool:
        """Whether it is electronic, and stops working below `least_v`."""
        return self.kind != "lamp"

    @property
    def least_v(self) -> float:
        """Below half its rated voltage an electronic load has given up."""
        return self.rated_v / 2

    def resistor_ohm(self, amount: float, *, given_up: bool = False) -> float:
        """The resistor that takes the same at the rated voltage, or at the voltage at which it gives up."""
        volts = self.least_v if given_up else self.rated_v
        ohm = volts / amount if self.kind == "current" else volts**2 / amount
        return min(max(ohm, LEAST_OHM), MOST_OHM)


@dataclass(frozen=True)
class Setting:
    """One admissible choice of every uncertain value: an index (low, nominal, high) for the ohms of each branch, for each draw, and for the battery.

    `pushes` for the volts of each branch: where it is not given, they are at the same end as the ohms.
    """

    branches: IntArray
    draws: IntArray
    battery: int
    pushes: IntArray | None = None

    @property
    def volts(self) -> IntArray:
        """The index of the volts of each branch."""
        return self.branches if self.pushes is None else self.pushes


@dataclass(frozen=True)
class Sampled:
    """Every uncertain value by itself somewhere between its ends: 0 is the low end, 1 the high one.

    (m,) of the ohms of the branches and (m,) of what pushes in them, (k,) of the draws, and of the battery.
    """

    ohms: FloatArray
    volts: FloatArray
    draws: FloatArray
    battery: float


def apart(settings: Sequence[Setting | Sampled]) -> tuple[dict[int, Setting], dict[int, Sampled]]:
    """The settings by their place: those at ends, and those sampled between them."""
    sampled = {place: one for place, one in enumerate(settings) if isinstance(one, Sampled)}
    return {place: one for place, one in enumerate(settings) if isinstance(one, Setting)}, sampled


def between(table: FloatArray, shares: FloatArray) -> FloatArray:
    """(r, s) values at (r, s) shares of the way from the low to the high end of a (r, 3) table."""
    found: FloatArray = table[:, LOW, None] + shares * (table[:, HIGH] - table[:, LOW])[:, None]
    return found


def reach(table: FloatArray, times: FloatArray | float = 1.0) -> FloatArray:
    """(r,) from the low to the high end of a (r, 3) table, times something."""
    found: FloatArray = (table[:, HIGH] - table[:, LOW]) * times
    return found
