"""Text to checked sheets. `read_folder` is the front door; it raises `CannotUse` with every problem it found.

A name is imported when it is asked for: whoever wants only the problems or the names need not load the models.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tracer.entry.load import Typed, read_folder
    from tracer.entry.problems import CannotUse, Place, Problem, natural

__all__ = ["CannotUse", "Place", "Problem", "Typed", "natural", "read_folder"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'tracer.entry' has no attribute {name!r}")
    home = "load" if name in ("Typed", "read_folder") else "problems"
    return getattr(import_module(f"tracer.entry.{home}"), name)
