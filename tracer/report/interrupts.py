"""What an interrupt (Ctrl-C) does for a while. Nothing but the standard library is loaded: an interrupt may come while all else still is."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator
from types import FrameType

Handler = Callable[[int, FrameType | None], object] | signal.Handlers


@contextlib.contextmanager
def interrupts(handler: Handler) -> Iterator[None]:
    """Within, an interrupt does what `handler` says, and raises nothing; away from the main thread, where signals are none of its business, what it did before."""
    try:
        before = signal.signal(signal.SIGINT, handler)
    except ValueError:
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


__all__ = ["interrupts"]
