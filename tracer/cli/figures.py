"""Commands that compute: volts, bus, draw."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

import tracer
from tracer.cli.answer import CANNOT_USE, WRONG_USAGE, answer, fail
from tracer.cli.app import app
from tracer.cli.options import BUSES, KEYS, MODULES, PARTS, AllOption, JsonOption, ModuleArgument, ShopOption

if TYPE_CHECKING:
    from tracer.trace.tracing import Tracing


def _between_1_and_100(typed: str | float) -> float:
    """Volts or watts as typed on the command line: 12.3, 12,3, 12.3V, 21W."""
    text = str(typed).strip().rstrip("VvWw").strip().replace(",", ".")
    try:
        number = float(text)
    except ValueError:
        raise typer.BadParameter(f"`{typed}` is no number: write it as 12.3") from None
    if not 1 <= number <= 100:
        raise typer.BadParameter(f"{text} is not between 1 and 100")
    return number


@app.command(
    epilog="Examples: tracer -C circuits/minibus volts ALM --key run    tracer volts ALM --add X4.1=0.5ohm --battery 12.3    tracer volts ALM --open G5 --load 2+=21W"
)
def volts(
    module: ModuleArgument,
    key: Annotated[str | None, typer.Option("--key", metavar="STATE", help="The key state; default run, else the last but one.", autocompletion=KEYS)] = None,
    held: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="NAME", help="Hold a condition, a command (MODULE.PIN), SWITCH=POSITION or a turning generator."),
    ] = None,
    battery: Annotated[float | None, typer.Option("--battery", metavar="V", parser=_between_1_and_100, help="Volts measured at the battery posts.")] = None,
    opened: Annotated[list[str] | None, typer.Option("--open", metavar="PART", help="What if PART, or PART.PIN, is open: a blown fuse, a lost ground.", autocompletion=PARTS)] = None,
    unplug: Annotated[list[str] | None, typer.Option("--unplug", metavar="MODULE", help="What if a module is unplugged.", autocompletion=MODULES)] = None,
    load: Annotated[list[str] | None, typer.Option("--load", metavar="ROW=21W", help="A test load at a row or PART.PIN: W (lamp), A or ohm.")] = None,
    add: Annotated[list[str] | None, typer.Option("--add", metavar="PIN=0.5ohm", help="A resistance in series at a pin, fuse, cavity or ground point.")] = None,
    short: Annotated[list[str] | None, typer.Option("--short", metavar="POINT[=TO]", help="What if a point touches ground, or `supply`, or another point: which fuse opens, and the state after it.")] = None,
    fuse: Annotated[list[str] | None, typer.Option("--fuse", metavar="F9=30", help="Another rating fitted than the one typed in.")] = None,
    lamp: Annotated[float | None, typer.Option("--lamp", metavar="W", parser=_between_1_and_100, help="Another test lamp in the last table than each fuse or wire allows, W.")] = None,
    shop: ShopOption = None,
    every: AllOption = False,
    json: JsonOption = False,
) -> None:  # fmt: skip
    """Expected volts at every probe point of a module's rows, what each wire and contact loses, and what a test there can tell."""
    from tracer.report import volts as report
    from tracer.report import volts_glance

    def ask(tracing: Tracing) -> tracer.VoltsReport:
        return tracer.volts(
            tracing, module, key, battery_v=battery, opened=opened or (), unplugged=unplug or (), loads=load or (), added=add or (), shorts=short or (),
            fitted=fuse or (), held=held or (), lamp_w=lamp, shop=shop,
        )  # fmt: skip

    answer(ask, text=report.as_text if every else volts_glance.as_text, data=report.as_data, json=json)


@app.command(
    epilog="Examples: tracer -C circuits/minibus bus    tracer bus drive    tracer bus drive --reading 120ohm --at ALM"
)
def bus(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="One bus; all of them by default.", autocompletion=BUSES)] = None,
    reading: Annotated[str | None, typer.Option("--reading", metavar="120ohm", help="A resistance read between the lines, or `open`: what explains it?")] = None,
    at: Annotated[str | None, typer.Option("--at", metavar="POINT", help="Where it was read: a module, a connector, a joint connector.")] = None,
    shop: ShopOption = None,
    every: AllOption = False,
    json: JsonOption = False,
) -> None:  # fmt: skip
    """Lines, terminations and branches of a bus; the resistance to expect at each point, whole and with one thing changed; which tests tell nothing."""
    from tracer.report import bus as report
    from tracer.report import bus_data, bus_glance

    if (reading is None) != (at is None) or (reading is not None and name is None):
        fail("A reading needs a bus, --reading and --at: tracer bus drive --reading 120ohm --at ALM", WRONG_USAGE)

    def ask(tracing: Tracing) -> tuple[list[tracer.BusReport], tracer.Classified | None]:
        names = [name] if name is not None else tracer.buses(tracing)
        if not names:
            fail(report.NO_BUS, CANNOT_USE)
        found = [tracer.bus(tracing, one, shop=shop) for one in names]
        if reading is None or at is None:
            return found, None
        return found, tracer.bus_reading(tracing, found[0], reading, at, shop=shop)

    answer(
        ask,
        text=lambda got, **page: (
            report.as_text(*got, **page) if every or reading is not None else bus_glance.as_text(got[0], **page)
        ),
        data=lambda got: bus_data.as_data(*got),
        completeness=lambda got: tracer.Completeness.of_all([one.completeness for one in got[0]]),
        json=json,
    )


@app.command(epilog="Examples: tracer -C circuits/minibus draw    tracer draw --total 0.35A --mv F4=0.4 --mv F7=0.1")
def draw(
    mv: Annotated[list[str] | None, typer.Option("--mv", metavar="F12=0.4", help="Millivolts read across a fuse; may be repeated.")] = None,
    total: Annotated[str | None, typer.Option("--total", metavar="0.35A", help="The whole draw by a clamp or a meter in series, measured first.")] = None,
    held: Annotated[list[str] | None, typer.Option("--with", metavar="NAME", help="Hold a condition for what is expected; `asleep` is taken as true anyway, asleep=no is not.")] = None,
    shop: ShopOption = None,
    every: AllOption = False,
    json: JsonOption = False,
) -> None:  # fmt: skip
    """Key-off draw: the current of each circuit from the millivolts across its fuse, total and shares, what to open up next."""
    from tracer.report import draw as report
    from tracer.report import draw_glance

    answer(
        lambda tracing: tracer.draw(tracing, mv or (), held=held or (), shop=shop, total=total),
        text=report.as_text if every else draw_glance.as_text,
        data=report.as_data,
        json=json,
    )
