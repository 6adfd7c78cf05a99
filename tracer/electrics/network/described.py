"""A resistive network as arrays: its nodes and branches, what is held, and what is refused of it. The signs are those of `linear.py`."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

LEAST_OHM = 1e-5
"""Smallest resistance taken. Below it the sums of double precision lose the megohms of an input; merge the
nodes."""

MOST_OHM = 1e8
"""Largest resistance taken, ten times the usual meter. Above it nothing can be measured; leave the branch
out."""

_NO_SUCH_BRANCH = "merge the two nodes of a link without resistance, leave out one that does not conduct"


class NetworkError(ValueError):
    """A network that cannot be solved as given."""


class BadResistance(NetworkError):
    """A resistance that is not finite, not positive, or outside LEAST_OHM to MOST_OHM."""


class BadNode(NetworkError):
    """A node or branch number, or an array shape, that does not fit the network."""


class BadValue(NetworkError):
    """A voltage, current or power that is not a usable number."""


class FixedTwice(NetworkError):
    """One node held at a voltage twice: ideal sources, or a source and the reference, joined directly."""


class NotAccurate(NetworkError):
    """Refinement did not settle: the conductances are too far apart for double precision."""


@dataclass(frozen=True, eq=False)
class Network:
    """Branches between numbered nodes; arrays are copied and made read-only.

    Parameters
    ----------
    node_count : n; nodes are 0 to n-1
    ends : (m, 2) integers, first and second end of each branch; parallel branches are separate rows
    conductance_s : (m,) siemens, each within 1/MOST_OHM to 1/LEAST_OHM
    reference : nodes held at 0 V
    fixed_node, fixed_v : (f,) nodes held at a voltage by an ideal source against the reference, and those
        volts
    source_v : (m,) volts of the source inside each branch, pushing from first to second end; default none
    closed : (m,) false where a branch is interrupted; it keeps its number and carries nothing; default all
        closed

    Raises
    ------
    BadResistance, BadNode, BadValue, FixedTwice : see there; the message says what was met and where
    """

    node_count: int
    ends: IntArray
    conductance_s: FloatArray
    reference: IntArray
    fixed_node: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    fixed_v: FloatArray = field(default_factory=lambda: np.empty(0))
    source_v: FloatArray = field(default_factory=lambda: np.empty(0))
    closed: BoolArray = field(default_factory=lambda: np.empty(0, dtype=np.bool_))

    def __post_init__(self) -> None:
        if self.node_count < 1:
            raise BadNode(f"a network needs at least one node, not {self.node_count}")
        ends = checked_nodes("ends", np.asarray(self.ends).reshape(-1), self.node_count)
        if np.shape(self.ends) not in ((ends.size // 2, 2), (0,)):
            raise BadNode(f"ends must have shape (m, 2), not {np.shape(self.ends)}")
        m = ends.size // 2
        conductance_s = checked_numbers("conductance_s", self.conductance_s, m, BadResistance)
        _check_conductance(conductance_s)
        reference = checked_nodes("reference", self.reference, self.node_count)
        fixed_node = checked_nodes("fixed_node", self.fixed_node, self.node_count)
        fixed_v = checked_numbers("fixed_v", self.fixed_v, fixed_node.size)
        held, count = np.unique(np.concatenate([reference, fixed_node]), return_counts=True)
        if np.any(count > 1):
            raise FixedTwice(f"node {held[count > 1][0]} is held at a voltage more than once")
        source_v = checked_numbers("source_v", self.source_v, m) if np.size(self.source_v) else np.zeros(m)
        closed = np.array(self.closed, dtype=np.bool_) if np.size(self.closed) else np.ones(m, dtype=np.bool_)
        if closed.shape != (m,):
            raise BadNode(f"closed must have one entry for each of {m} branches, not shape {closed.shape}")
        self._keep("ends", ends.reshape(m, 2))
        self._keep("conductance_s", conductance_s)
        self._keep("reference", reference)
        self._keep("fixed_node", fixed_node)
        self._keep("fixed_v", fixed_v)
        self._keep("source_v", source_v)
        self._keep("closed", closed)

    def _keep(self, name: str, array: npt.NDArray[np.generic]) -> None:
        array.setflags(write=False)
        object.__setattr__(self, name, array)

    @property
    def branch_count(self) -> int:
        """Number of branches, m, the interrupted ones included."""
        return int(self.conductance_s.size)

    @property
    def held_node(self) -> IntArray:
        """Nodes of known voltage: the reference nodes, then the fixed ones."""
        return np.concatenate([self.reference, self.fixed_node])

    @property
    def held_v(self) -> FloatArray:
        """Volts of `held_node`."""
        return np.concatenate([np.zeros(self.reference.size), self.fixed_v])

    def opened(self, branches: npt.ArrayLike) -> Network:
        """The same network with these branches interrupted."""
        closed = self.closed.copy()
        closed[checked_nodes("branches", branches, self.branch_count)] = False
        return self.altered(closed=closed)

    def with_branches(self, ends: npt.ArrayLike, resistance_ohm: npt.ArrayLike) -> Network:
        """The same network with k more branches, (k, 2) ends and (k,) ohms, numbered last in that order."""
        conductance_s = _conductance(resistance_ohm)
        _check_conductance(conductance_s)
        count = conductance_s.size
        if not count:
            return self
        if np.shape(ends) != (count, 2):
            raise BadNode(f"ends must have shape ({count}, 2), not {np.shape(ends)}")
        new_ends = checked_nodes("ends", np.asarray(ends).reshape(-1), self.node_count).reshape(count, 2)
        return self.altered(
            ends=np.concatenate([self.ends, new_ends]),
            conductance_s=np.concatenate([self.conductance_s, conductance_s]),
            source_v=np.concatenate([self.source_v, np.zeros(count)]),
            closed=np.concatenate([self.closed, np.ones(count, dtype=np.bool_)]),
        )

    def with_conductances(self, conductance_s: npt.ArrayLike, source_v: npt.ArrayLike | None = None) -> Network:
        """The same branches with other conductances, (m,) siemens, and other sources inside them, (m,) volts."""
        changed = checked_numbers("conductance_s", conductance_s, self.branch_count, BadResistance)
        _check_conductance(changed)
        if source_v is None:
            return self.altered(conductance_s=changed)
        return self.altered(conductance_s=changed, source_v=checked_numbers("source_v", source_v, self.branch_count))

    def altered(self, **arrays: npt.NDArray[np.generic]) -> Network:
        """A copy with other arrays. What stays was checked when it came in, what is given here by the caller."""
        changed = object.__new__(Network)
        changed.__dict__.update(self.__dict__)
        for name, array in arrays.items():
            changed._keep(name, array)
        return changed


def network_of_resistances(
    node_count: int,
    ends: npt.ArrayLike,
    resistance_ohm: npt.ArrayLike,
    *,
    reference: npt.ArrayLike,
    fixed_node: npt.ArrayLike = (),
    fixed_v: npt.ArrayLike = (),
    source_v: npt.ArrayLike = (),
    closed: npt.ArrayLike = (),
) -> Network:
    """A network from plain lists and resistances in ohms; the rest as in `Network`.

    Examples
    --------
    A 12 V battery of 0.1 ohm (node 0 negative, node 1 positive) on a load of 2.9 ohm that ends in 1 ohm of
    ground wire; node 2 is the ground pin of the load.

    >>> network = network_of_resistances(3, [(0, 1), (1, 2), (2, 0)], [0.1, 2.9, 1.0], reference=[0],
    ...                                  source_v=[12.0, 0.0, 0.0])
    >>> solve(network).node_v.round(6).tolist()
    [0.0, 11.7, 3.0]
    """
    return Network(
        node_count=node_count,
        # not made whole numbers here: 1.5 would become 1 without a word
        ends=np.asarray(ends),
        conductance_s=_conductance(resistance_ohm),
        reference=np.asarray(reference),
        fixed_node=np.asarray(fixed_node),
        fixed_v=np.asarray(fixed_v, dtype=np.float64),
        source_v=np.asarray(source_v, dtype=np.float64),
        closed=np.asarray(closed, dtype=np.bool_),
    )


def _conductance(resistance_ohm: npt.ArrayLike) -> FloatArray:
    ohm = np.array(resistance_ohm, dtype=np.float64)
    bad = ~(np.isfinite(ohm) & (ohm > 0.0))
    if np.any(bad):
        k = int(np.flatnonzero(bad)[0])
        raise BadResistance(
            f"branch {k}: resistance must be a positive number, not {ohm.flat[k]} ohm; {_NO_SUCH_BRANCH}"
        )
    conductance_s: FloatArray = 1.0 / ohm
    return conductance_s


def _check_conductance(conductance_s: FloatArray) -> None:
    # a hair of slack, so that a resistance given exactly at the limit passes after the division
    good = (conductance_s >= (1 - 1e-9) / MOST_OHM) & (conductance_s <= (1 + 1e-9) / LEAST_OHM)
    if not np.all(good):
        k = int(np.flatnonzero(~good)[0])
        raise BadResistance(
            f"branch {k}: conductance {conductance_s[k]} S is outside {LEAST_OHM} to {MOST_OHM} ohm; {_NO_SUCH_BRANCH}"
        )


def checked_numbers(name: str, values: npt.ArrayLike, size: int, error: type[NetworkError] = BadValue) -> FloatArray:
    """An array of finite numbers of its own, of a size.

    Raises
    ------
    NetworkError : of the kind asked for, another size or a value that is no number
    """
    array = np.array(values, dtype=np.float64)
    if array.shape != (size,):
        raise BadNode(f"{name} must have shape ({size},), not {array.shape}")
    if not np.all(np.isfinite(array)):
        k = int(np.flatnonzero(~np.isfinite(array))[0])
        raise error(f"{name}[{k}] must be a finite number, not {array[k]}")
    return array


def checked_nodes(name: str, values: npt.ArrayLike, count: int) -> IntArray:
    """Node numbers as an array of its own.

    Raises
    ------
    BadNode : there is no such node
    """
    raw = np.asarray(values)
    if raw.size == 0:
        return np.empty(0, dtype=np.intp)
    if raw.ndim != 1 or not np.issubdtype(raw.dtype, np.integer):
        raise BadNode(f"{name} must be a row of whole numbers, not {raw.dtype} of shape {raw.shape}")
    array: IntArray = raw.astype(np.intp)
    bad = (array < 0) | (array >= count)
    if np.any(bad):
        raise BadNode(f"{name} has {array[bad][0]}, which is not within 0 to {count - 1}")
    return array
