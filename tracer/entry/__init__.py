"""Text to checked sheets. `read_folder` is the front door; it raises `CannotUse` with every problem it found."""

from tracer.entry.load import Typed, read_folder
from tracer.entry.problems import CannotUse, Place, Problem, natural

__all__ = ["CannotUse", "Place", "Problem", "Typed", "natural", "read_folder"]
