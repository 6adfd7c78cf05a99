"""Small vehicles typed as text, for the tests of computed voltages and buses."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tracer.circuit import join
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.changes import changes_of
from tracer.electrics.volts.of_module import volts_of
from tracer.electrics.volts.values import RowVolts, VoltsReport
from tracer.entry import read_folder
from tracer.plan.lamps import LampRule
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing


def tracing_of(folder: Path, sheet: str, vehicle: str = "") -> Tracing:
    """The tracing of a vehicle of one sheet; `vehicle` is appended to vehicle.yaml."""
    (folder / "sheets").mkdir(parents=True, exist_ok=True)
    (folder / "vehicle.yaml").write_text(f"vehicle: test\n{vehicle}", encoding="utf-8")
    (folder / "sheets" / "1.yaml").write_text(f"sheet: 1\n{sheet}", encoding="utf-8")
    return Tracing(join(read_folder(folder)))


def volts(
    tracing: Tracing,
    module: str,
    key: str = "run",
    battery_v: float | None = 12.6,
    *,
    opened: Sequence[str] = (),
    unplugged: Sequence[str] = (),
    loads: Sequence[str] = (),
    added: Sequence[str] = (),
    shorts: Sequence[str] = (),
    fitted: Sequence[str] = (),
    held: Sequence[str] = (),
    lamp_w: float | None = None,
) -> VoltsReport:
    """Expected volts with what-ifs as typed; `held` stands for the option --with."""
    report = supplies_of(tracing, module)
    wanted = changes_of(
        tracing.circuit,
        {row.code: row for row in report.rows},
        opened=opened,
        unplugged=unplugged,
        loads=loads,
        added=added,
        shorts=shorts,
        fitted=fitted,
        held=held,
        battery_v=battery_v,
    )
    lamps = LampRule(tracing.circuit).own_pins(report, lamp_w)
    return volts_of(tracing, report, key, wanted, limits=limits_of(tracing.circuit), lamps=lamps)


def row(report: VoltsReport, point: str) -> RowVolts:
    """The row of a point."""
    return next(one for one in report.rows if one.point == point)
