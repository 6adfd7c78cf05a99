"""Ctrl-C at any moment: the program ends with status 130 and says nothing, while its parts are still being loaded too."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator

from tracer.report.interrupts import interrupts

INTERRUPTED = 130  # 128 and the number of the signal, as shells have it


@contextlib.contextmanager
def ends_at_once() -> Iterator[None]:
    """An interrupt within ends the process, without the unwinding that shows where it was; nothing half written may be open."""
    if signal.getsignal(signal.SIGINT) is not signal.default_int_handler:  # whoever embeds this has a way of their own
        yield
        return
    with interrupts(signal.SIG_DFL):
        yield


def from_now_on() -> None:
    """The same until the process ends."""
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_DFL)


__all__ = ["INTERRUPTED", "ends_at_once", "from_now_on"]
