"""Sheets joined to one circuit. `join` is the front door."""

from tracer.circuit.join import join, joined_folder
from tracer.circuit.model import Circuit, Link, LinkKind, Part

__all__ = ["Circuit", "Link", "LinkKind", "Part", "join", "joined_folder"]
