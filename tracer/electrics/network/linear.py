"""Voltages and currents of a resistive network, from arrays alone.

Signs: a branch runs from its first to its second end; its current is positive in that direction, and its
drop is the voltage of the first end minus that of the second. A source inside a branch pushes current from
the first end to the second, so that ``current = conductance * (v_first - v_second + source_v)``; a battery
is a branch from its negative to its positive post, holding its open-circuit voltage and its internal
resistance. Injected current is positive into a node.

A node without a way over closed branches to a node of known voltage is *floating*. That is decided by
topology, never by a small number: no leak to ground is needed to keep the equations solvable, because every
floating island is solved against its own lowest node. Its currents and the voltages inside it are therefore
real, its voltage against the reference is not a number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from tracer.electrics.network.elimination import WholeElimination, WholeReduction, whole_elimination_of

if TYPE_CHECKING:  # this library takes longer to be imported than a small network to be solved
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import SuperLU

__all__ = [
    "BLOCK_WIDTH",
    "FEW_NODES",
    "LEAST_OHM",
    "MOST_OHM",
    "BadNode",
    "BadResistance",
    "BadValue",
    "Factor",
    "FactorMismatch",
    "FixedTwice",
    "Network",
    "NetworkError",
    "NoReturnPath",
    "NotAccurate",
    "Solution",
    "current_sums",
    "factorise",
    "islands_of",
    "limit_of_correction_v",
    "network_of_resistances",
    "solve",
]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

LEAST_OHM = 1e-5
"""Smallest resistance taken. Below it the sums of double precision lose the megohms of an input; merge the
nodes."""

MOST_OHM = 1e8
"""Largest resistance taken, ten times the usual meter. Above it nothing can be measured; leave the branch
out."""

BLOCK_WIDTH = 24
"""Right-hand sides solved together. Wider blocks make the linear algebra library start threads for each of
its many small products, which then wait for busy cores: up to seven times longer on a loaded machine
(measured)."""

FEW_NODES = 2_000
"""Up to so many unknown nodes a network is solved by taking them out one after another: the library would be quicker, but takes longer to be imported."""

_REFINED_V = 1e-10
_INACCURATE_V = 1e-6
_INACCURATE_V_PER_A = 1e-9
_REFINEMENTS = 6


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


class NoReturnPath(NetworkError):
    """Current is injected into an island that has no way for it to leave."""


class FactorMismatch(NetworkError):
    """A factor was offered for a network with other conductances or other held nodes."""


class NotAccurate(NetworkError):
    """Refinement did not settle: the conductances are too far apart for double precision."""


# ---------------------------------------------------------------------------------------------- the network


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
    injected_a : (n,) amperes, positive into the node; default none
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
    injected_a: FloatArray = field(default_factory=lambda: np.empty(0))
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
        injected_a = (
            checked_numbers("injected_a", self.injected_a, self.node_count)
            if np.size(self.injected_a)
            else np.zeros(self.node_count)
        )
        closed = np.array(self.closed, dtype=np.bool_) if np.size(self.closed) else np.ones(m, dtype=np.bool_)
        if closed.shape != (m,):
            raise BadNode(f"closed must have one entry for each of {m} branches, not shape {closed.shape}")
        self._keep("ends", ends.reshape(m, 2))
        self._keep("conductance_s", conductance_s)
        self._keep("reference", reference)
        self._keep("fixed_node", fixed_node)
        self._keep("fixed_v", fixed_v)
        self._keep("source_v", source_v)
        self._keep("injected_a", injected_a)
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

    def with_added_ohm(self, branch: int, added_ohm: float) -> Network:
        """The same network with a resistance in series with one branch."""
        checked_nodes("branch", [branch], self.branch_count)
        if not (math.isfinite(added_ohm) and added_ohm >= 0.0):
            raise BadResistance(f"added resistance must be zero or more, not {added_ohm} ohm")
        conductance_s = self.conductance_s.copy()
        conductance_s[branch] = 1.0 / (1.0 / conductance_s[branch] + added_ohm)
        return self.with_conductances(conductance_s)

    def with_branch(self, first: int, second: int, resistance_ohm: float) -> Network:
        """The same network with one more branch, numbered last."""
        return self.with_branches([(first, second)], [resistance_ohm])

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

    def with_injection(self, injected_a: npt.ArrayLike) -> Network:
        """The same network with other injected currents, (n,) amperes."""
        return self.altered(injected_a=checked_numbers("injected_a", injected_a, self.node_count))

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
    injected_a: npt.ArrayLike = (),
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
        injected_a=np.asarray(injected_a, dtype=np.float64),
        closed=np.asarray(closed, dtype=np.bool_),
    )


def _conductance(resistance_ohm: npt.ArrayLike) -> FloatArray:
    ohm = np.array(resistance_ohm, dtype=np.float64)
    bad = ~(np.isfinite(ohm) & (ohm > 0.0))
    if np.any(bad):
        k = int(np.flatnonzero(bad)[0])
        raise BadResistance(
            f"branch {k}: resistance must be a positive number, not {ohm.flat[k]} ohm; "
            f"merge the two nodes of a link without resistance, leave out one that does not conduct"
        )
    conductance_s: FloatArray = 1.0 / ohm
    return conductance_s


def _check_conductance(conductance_s: FloatArray) -> None:
    # a hair of slack, so that a resistance given exactly at the limit passes after the division
    good = (conductance_s >= (1 - 1e-9) / MOST_OHM) & (conductance_s <= (1 + 1e-9) / LEAST_OHM)
    if not np.all(good):
        k = int(np.flatnonzero(~good)[0])
        raise BadResistance(
            f"branch {k}: conductance {conductance_s[k]} S is outside {LEAST_OHM} to {MOST_OHM} ohm; "
            f"merge the two nodes of a link without resistance, leave out one that does not conduct"
        )


def checked_numbers(name: str, values: npt.ArrayLike, size: int, error: type[NetworkError] = BadValue) -> FloatArray:
    array = np.array(values, dtype=np.float64)
    if array.shape != (size,):
        raise BadNode(f"{name} must have shape ({size},), not {array.shape}")
    if not np.all(np.isfinite(array)):
        k = int(np.flatnonzero(~np.isfinite(array))[0])
        raise error(f"{name}[{k}] must be a finite number, not {array[k]}")
    return array


def checked_nodes(name: str, values: npt.ArrayLike, count: int) -> IntArray:
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


# ------------------------------------------------------------------------------------------------ the factor


@dataclass(frozen=True, eq=False)
class Factor:
    """The factorised conductance matrix, with the topology it rests on; good for any sources and injections.

    Attributes
    ----------
    network : the network it was made from
    leak_s : siemens from every unknown node to 0 V (0 unless asked for)
    island : (n,) number of the connected piece each node lies in, over closed branches
    floating : (n,) true where that piece holds no node of known voltage
    row : (n,) row of the node in the matrix, -1 where its voltage is given (held nodes, one node per
        floating island)
    lu : the triangular factors; none without unknown nodes
    pattern : where each branch goes in the matrix; the same for all conductances
    """

    network: Network
    leak_s: float
    island: IntArray
    floating: BoolArray
    row: IntArray
    lu: SuperLU | WholeReduction | None
    pattern: _Pattern | _Order

    def respond(self, injected_a: FloatArray) -> FloatArray:
        """Voltages that injected currents alone would cause, held nodes at 0 V.

        Parameters
        ----------
        injected_a : (n,) or (n, k) amperes

        Returns
        -------
        same shape, volts
        """
        volts = np.zeros_like(injected_a)
        if self.lu is not None:
            unknown = self.row >= 0
            volts[unknown] = self.lu.solve(injected_a[unknown])
        return volts

    @property
    def rounding_per_ohm(self) -> float:
        """Share of a resistance that double precision may lose in the factor, per ohm of that resistance."""
        own = self.network
        a, b = own.ends[own.closed].T
        g = own.conductance_s[own.closed]
        diagonal = np.bincount(a, g, own.node_count) + np.bincount(b, g, own.node_count)
        return float(np.finfo(np.float64).eps * np.max(diagonal, initial=0.0))

    def fits(self, network: Network) -> bool:
        """True if the network differs from the factorised one in sources and injections at most."""
        own = self.network
        return _same(own.conductance_s, network.conductance_s) and self.shaped_like(network)

    def shaped_like(self, network: Network) -> bool:
        """True if the network has the branches, interruptions and held nodes of the factorised one."""
        own = self.network
        return (
            own.node_count == network.node_count
            and _same(own.ends, network.ends)
            and _same(own.closed, network.closed)
            and np.array_equal(np.sort(own.held_node), np.sort(network.held_node))
        )


def _same(one: npt.NDArray[np.generic], other: npt.NDArray[np.generic]) -> bool:
    return one is other or np.array_equal(one, other)


def factorise(network: Network, leak_s: float = 0.0, *, like: Factor | None = None) -> Factor:
    """Find the islands, assemble the matrix of the unknown nodes, and factorise it.

    The matrix is symmetric and positive definite, so the diagonal is always a good pivot and the ordering
    may be that of a Cholesky factor.

    Parameters
    ----------
    like : of an earlier network; if that differs in conductances at most, its islands and its pattern serve again

    Raises
    ------
    NotAccurate : the matrix is singular in double precision
    """
    if not (math.isfinite(leak_s) and leak_s >= 0.0):
        raise BadValue(f"leak_s must be zero or more, not {leak_s}")
    if like is not None and like.shaped_like(network) and not (leak_s and isinstance(like.pattern, _Order)):
        island, floating, row, pattern = like.island, like.floating, like.row, like.pattern
    else:
        island, floating, known = _islands(network)
        row = np.full(network.node_count, -1, dtype=np.intp)
        unknown = np.flatnonzero(~known)
        row[unknown] = np.arange(unknown.size)
        few = unknown.size <= FEW_NODES and not leak_s
        pattern = _order(network, row, unknown.size) if few else _pattern(network, row, unknown.size)
    lu = pattern.factor(network.conductance_s, leak_s) if pattern.size else None
    return Factor(network, leak_s, island, floating, row, lu, pattern)


def _islands(network: Network) -> tuple[IntArray, BoolArray, BoolArray]:
    island = islands_of(network.node_count, network.ends[network.closed])
    alive = np.zeros(network.node_count, dtype=np.bool_)
    alive[island[network.held_node]] = True
    floating = ~alive[island]
    known = np.zeros(network.node_count, dtype=np.bool_)
    known[network.held_node] = True
    known[island[floating]] = True  # the lowest node of each
    return island, floating, known


def islands_of(node_count: int, ends: IntArray) -> IntArray:
    """(n,) the lowest node of the part that each node is in; `ends` (m, 2) of the closed branches.

    Without the library, which is not worth importing for this alone: parts that touch take the lower number, and every node that of the part it is in, until nothing changes.
    """
    island = np.arange(node_count)
    a, b = ends.T
    while True:
        low, high = np.minimum(island[a], island[b]), np.maximum(island[a], island[b])
        touching = low < high
        if not np.any(touching):
            return island
        np.minimum.at(island, high[touching], low[touching])
        while np.any(island[island] != island):
            island = island[island]


@dataclass(frozen=True, eq=False)
class _Order:
    """In which order the unknown nodes of a small network are taken out; `branch` are the branches that count."""

    branch: IntArray
    elimination: WholeElimination

    @property
    def size(self) -> int:
        return self.elimination.size

    def factor(self, conductance_s: FloatArray, _leak_s: float) -> WholeReduction:
        """For (m,) conductances."""
        return self.elimination.reduced(conductance_s[self.branch])


def _order(network: Network, row: IntArray, size: int) -> _Order:
    ends = np.where(row[network.ends] >= 0, row[network.ends], size)
    branch = np.flatnonzero(network.closed & (ends[:, 0] != ends[:, 1]))
    return _Order(branch, whole_elimination_of(size, ends[branch]))


@dataclass(frozen=True, eq=False)
class _Pattern:
    """Where each branch goes in the sparse matrix of the unknown nodes, column by column.

    `branch` and `slot` say which conductance is added to which stored entry, `sign` whether it is on the diagonal
    (+1) or off it (-1); `diagonal` are the entries of the diagonal.
    """

    size: int
    branch: IntArray
    slot: IntArray
    sign: FloatArray
    diagonal: IntArray
    indices: npt.NDArray[np.int32]
    indptr: npt.NDArray[np.int32]

    def matrix(self, conductance_s: FloatArray, leak_s: float) -> csc_array[np.float64]:
        """(size, size) siemens for (m,) conductances."""
        from scipy.sparse import csc_array

        weights_s = self.sign * conductance_s[self.branch]
        data = np.asarray(np.bincount(self.slot, weights_s, self.indices.size), dtype=np.float64)
        if leak_s:
            data[self.diagonal] += leak_s
        return csc_array((data, self.indices, self.indptr), shape=(self.size, self.size))

    def factor(self, conductance_s: FloatArray, leak_s: float) -> SuperLU:
        """The triangular factors, for (m,) conductances.

        Raises
        ------
        NotAccurate : the matrix is singular in double precision
        """
        from scipy.sparse.linalg import splu

        try:
            return splu(
                self.matrix(conductance_s, leak_s),
                permc_spec="MMD_AT_PLUS_A",
                diag_pivot_thresh=0.0,
                # wiring fills in so little that gathering columns into blocks costs more than it saves
                # (measured)
                relax=1,
                panel_size=1,
                options={"SymmetricMode": True, "Equil": False},
            )
        except RuntimeError as error:  # raised by the library for an exactly singular matrix
            raise NotAccurate(f"the conductance matrix cannot be factorised: {error}") from error


def _pattern(network: Network, row: IntArray, size: int) -> _Pattern:
    # a branch from a node to itself adds nothing, but its rounding would stay in the diagonal
    used = np.flatnonzero(network.closed & (network.ends[:, 0] != network.ends[:, 1]))
    first, second = row[network.ends[used]].T
    at_first, at_second = np.flatnonzero(first >= 0), np.flatnonzero(second >= 0)
    both = np.flatnonzero((first >= 0) & (second >= 0))
    a, b = first[both], second[both]
    here = np.arange(size)
    # the diagonal is there even where no branch ends, for the leak
    rows = np.concatenate([here, first[at_first], second[at_second], a, b])
    columns = np.concatenate([here, first[at_first], second[at_second], b, a])
    entry, slot = np.unique(columns * size + rows, return_inverse=True)
    sign = np.ones(slot.size - size)
    sign[at_first.size + at_second.size :] = -1.0
    indptr = np.searchsorted(entry, np.arange(size + 1) * size)
    return _Pattern(
        size,
        used[np.concatenate([at_first, at_second, both, both])],
        slot[size:],
        sign,
        slot[:size],
        (entry % max(size, 1)).astype(np.int32),
        indptr.astype(np.int32),
    )


# ----------------------------------------------------------------------------------------------- the solution


@dataclass(frozen=True, eq=False)
class Solution:
    """What a network settles at.

    Attributes
    ----------
    factor : the factor used, for another solve or for faults
    network : the network solved
    node_v : (n,) volts against the reference; not a number where floating
    potential_v : (n,) as `node_v`, but in a floating island volts against the island's own lowest node
    branch_a : (m,) amperes from first to second end; 0 where interrupted
    held_a : (h,) amperes that each node of `network.held_node` sends into the network
    residual_a : largest error of the current sum at any node, summed branch by branch
    correction_v : size of the last refinement step, an estimate of the voltage error
    source_w : power that all sources give together (one that is being charged counts against)
    heat_w : power turned to heat in the resistances
    """

    factor: Factor
    network: Network
    node_v: FloatArray
    potential_v: FloatArray
    branch_a: FloatArray
    held_a: FloatArray
    residual_a: float
    correction_v: float
    source_w: float
    heat_w: float

    @property
    def floating(self) -> BoolArray:
        """(n,) true where a node has no way to a node of known voltage."""
        return self.factor.floating

    @property
    def floating_nodes(self) -> frozenset[int]:
        """The floating nodes as a set."""
        return frozenset(int(k) for k in np.flatnonzero(self.factor.floating))

    @property
    def branch_drop_v(self) -> FloatArray:
        """(m,) volts, first end minus second end; not a number between two separate islands that float."""
        a, b = self.network.ends.T
        drop: FloatArray = self.potential_v[a] - self.potential_v[b]
        apart = (self.factor.island[a] != self.factor.island[b]) & (self.floating[a] | self.floating[b])
        drop[apart] = np.nan
        return drop


def solve(network: Network, leak_s: float = 0.0, *, factor: Factor | None = None) -> Solution:
    """Solve the network by nodal analysis, and refine until the voltages stand still.

    Parameters
    ----------
    leak_s : siemens from every unknown node to 0 V. Not needed for the numerics (see the module text); 1e-10
        S bends the voltage behind 1 Mohm by 1.2 mV at 12 V, so the default is none.
    factor : of an earlier solve of a network that differs in sources and injections at most

    Raises
    ------
    NoReturnPath : current is injected into a floating island and does not sum to zero there
    FactorMismatch : `factor` belongs to another network
    NotAccurate : the voltages do not settle to 1 microvolt (1 nanovolt per ampere above 1000 A)

    References
    ----------
    Nodal part of Ho, Ruehli, Brennan (1975), IEEE Trans. Circuits and Systems 22(6), 504-509 (citation from
    memory).
    """
    if factor is None:
        factor = factorise(network, leak_s)
    elif not factor.fits(network) or factor.leak_s != leak_s:
        raise FactorMismatch("the factor was made for other conductances, other held nodes or another leak")
    _check_return(network, factor)
    potential_v = np.zeros(network.node_count)
    potential_v[network.held_node] = network.held_v
    unknown = factor.row >= 0
    potential_v, branch_a, surplus_a, correction_v = _settled(network, factor, potential_v, unknown)
    node_v = np.where(factor.floating, np.nan, potential_v)
    held_a = -surplus_a[network.held_node]
    source_w = float(network.held_v @ held_a + network.source_v @ branch_a + network.injected_a @ potential_v)
    heat_w = float(np.sum(branch_a**2 / network.conductance_s) + factor.leak_s * np.sum(potential_v[unknown] ** 2))
    residual_a = float(np.max(np.abs(surplus_a[unknown]), initial=0.0))
    for array in (node_v, potential_v, branch_a, held_a):
        array.setflags(write=False)
    return Solution(factor, network, node_v, potential_v, branch_a, held_a, residual_a, correction_v, source_w, heat_w)


def _settled(
    network: Network, factor: Factor, potential_v: FloatArray, unknown: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Solve in the first step; refine in every further one, with current sums taken branch by branch."""
    correction_v = math.inf
    for step in range(_REFINEMENTS + 1):
        branch_a, surplus_a = current_sums(network, potential_v, factor.leak_s)
        if step > 1 and correction_v <= _REFINED_V:
            return potential_v, branch_a, surplus_a, correction_v
        change_v = factor.respond(np.where(unknown, surplus_a, 0.0))
        potential_v = potential_v + change_v
        correction_v = float(np.max(np.abs(change_v), initial=0.0))
    branch_a, surplus_a = current_sums(network, potential_v, factor.leak_s)
    # written so that a correction that is not a number is caught too
    if not correction_v <= limit_of_correction_v(branch_a):
        raise NotAccurate(
            f"voltages still move by {correction_v:.3g} V after {_REFINEMENTS} refinements; the "
            f"conductances, {np.min(network.conductance_s):.3g} to {np.max(network.conductance_s):.3g} S, "
            f"lie too far apart"
        )
    return potential_v, branch_a, surplus_a, correction_v


def limit_of_correction_v(branch_a: FloatArray) -> FloatArray:
    """Volts by which the last refinement may still move a voltage, for (m,) branch currents or each column of (m, s).

    A short circuit of 10 kA leaves a rounding of 1e-12 A, which a megohm turns into a microvolt.
    """
    limit_v: FloatArray = np.maximum(_INACCURATE_V, _INACCURATE_V_PER_A * np.max(np.abs(branch_a), axis=0, initial=0.0))
    return limit_v


def current_sums(
    network: Network, potential_v: FloatArray, leak_s: float = 0.0, *, load_a: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """(m,) branch currents, and (n,) for each node the injected current that the branches do not carry away.

    `load_a` are the currents of the last branches, where they follow a law of their own.
    """
    first, second = network.ends.T
    branch_a = network.conductance_s * (potential_v[first] - potential_v[second] + network.source_v)
    if load_a is not None:
        branch_a[branch_a.size - load_a.size :] = load_a
    branch_a[~network.closed] = 0.0
    n = network.node_count
    # what goes round in one branch comes back to its node; summed, it would only leave its rounding there
    passing_a = np.where(first == second, 0.0, branch_a)
    surplus_a = network.injected_a - np.bincount(first, passing_a, n) + np.bincount(second, passing_a, n)
    if leak_s:
        leaking = np.ones(n, dtype=np.bool_)
        leaking[network.held_node] = False
        surplus_a = surplus_a - leak_s * np.where(leaking, potential_v, 0.0)
    return branch_a, surplus_a


def _check_return(network: Network, factor: Factor) -> None:
    if not np.any(network.injected_a):
        return
    sums = np.bincount(factor.island, network.injected_a)
    sizes = np.bincount(factor.island, np.abs(network.injected_a))
    stuck = np.flatnonzero(factor.floating & (np.abs(sums) > 1e-12 * sizes)[factor.island])
    if stuck.size:
        k = int(stuck[0])
        raise NoReturnPath(
            f"{sums[factor.island[k]]:.6g} A flow into the floating island of node {k} and cannot leave it"
        )
