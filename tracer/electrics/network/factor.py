"""The conductances of a network taken apart once, for as many right-hand sides as are asked for; and which nodes hang together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from tracer.electrics.network.described import BoolArray, FloatArray, IntArray, Network, NotAccurate
from tracer.electrics.network.elimination import WholeElimination, WholeReduction, whole_elimination_of

if TYPE_CHECKING:  # this library takes longer to be imported than a small network to be solved
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import SuperLU

BLOCK_WIDTH = 24
"""Right-hand sides solved together. Wider blocks make the linear algebra library start threads for each of
its many small products, which then wait for busy cores: up to seven times longer on a loaded machine
(measured)."""

FEW_NODES = 2_000
"""Up to so many unknown nodes a network is solved by taking them out one after another: the library would be quicker, but takes longer to be imported."""


@dataclass(frozen=True, eq=False)
class Factor:
    """The factorised conductance matrix, with the topology it rests on; good for any sources.

    Attributes
    ----------
    island : (n,) number of the connected piece each node lies in, over closed branches
    floating : (n,) true where that piece holds no node of known voltage
    row : (n,) row of the node in the matrix, -1 where its voltage is given (held nodes, one node per
        floating island)
    lu : the triangular factors; none without unknown nodes
    """

    island: IntArray
    floating: BoolArray
    row: IntArray
    lu: SuperLU | WholeReduction | None

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


def factorise(network: Network) -> Factor:
    """Find the islands, assemble the matrix of the unknown nodes, and factorise it.

    The matrix is symmetric and positive definite, so the diagonal is always a good pivot and the ordering
    may be that of a Cholesky factor.

    Raises
    ------
    NotAccurate : the matrix is singular in double precision
    """
    island, floating, known = _islands(network)
    row = np.full(network.node_count, -1, dtype=np.intp)
    unknown = np.flatnonzero(~known)
    row[unknown] = np.arange(unknown.size)
    few = unknown.size <= FEW_NODES
    pattern = _order(network, row, unknown.size) if few else _pattern(network, row, unknown.size)
    lu = pattern.factor(network.conductance_s) if pattern.size else None
    return Factor(island, floating, row, lu)


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
    """(n,) the lowest node of the island that each node is in; `ends` (m, 2) of the closed branches.

    Without the library, which is not worth importing for this alone: islands that touch take the lower number, and every node that of the island it is in, until nothing changes.
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

    def factor(self, conductance_s: FloatArray) -> WholeReduction:
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
    (+1) or off it (-1).
    """

    size: int
    branch: IntArray
    slot: IntArray
    sign: FloatArray
    indices: npt.NDArray[np.int32]
    indptr: npt.NDArray[np.int32]

    def matrix(self, conductance_s: FloatArray) -> csc_array[np.float64]:
        """(size, size) siemens for (m,) conductances."""
        from scipy.sparse import csc_array

        weights_s = self.sign * conductance_s[self.branch]
        data = np.asarray(np.bincount(self.slot, weights_s, self.indices.size), dtype=np.float64)
        return csc_array((data, self.indices, self.indptr), shape=(self.size, self.size))

    def factor(self, conductance_s: FloatArray) -> SuperLU:
        """The triangular factors, for (m,) conductances.

        Raises
        ------
        NotAccurate : the matrix is singular in double precision
        """
        from scipy.sparse.linalg import splu

        try:
            return splu(
                self.matrix(conductance_s),
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
    rows = np.concatenate([first[at_first], second[at_second], a, b])
    columns = np.concatenate([first[at_first], second[at_second], b, a])
    entry, slot = np.unique(columns * size + rows, return_inverse=True)
    sign = np.ones(slot.size)
    sign[at_first.size + at_second.size :] = -1.0
    indptr = np.searchsorted(entry, np.arange(size + 1) * size)
    return _Pattern(
        size,
        used[np.concatenate([at_first, at_second, both, both])],
        slot,
        sign,
        (entry % max(size, 1)).astype(np.int32),
        indptr.astype(np.int32),
    )
