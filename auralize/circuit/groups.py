"""Sums over all pairs of points of a section, in work that grows about as their number.

The section is cut into square cells. Points in one cell or in neighbouring cells meet one by one;
cells farther apart meet through `_NODES` squared nodes each, between which the kernel is very nearly
a polynomial of both places (Chebyshev interpolation, the "black box" of Fong and Darve, J. Comput.
Phys. 228 (2009) 8712, on one level; from memory). Up to `EXACT` points form one cell, so that
nothing is approximated; beyond, what coils are asked for differs by under 1e-3 (tests).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import Real

Index = NDArray[np.int64]
Values = NDArray[Any]
Kernel = Callable[[Real, Real, Real, Real], Values]
"""Influence of a source (r, z) on a target (r, z), in m; arrays broadcast, and leading axes are kept."""
Block = tuple[Index, Index, Values]
"""Targets, sources, and the kernel between them, shape (..., targets, sources)."""

EXACT: Final = 400
_NODES: Final = 5
_TABLES: Final = 256
# Pairs of cells whose nodes are worked out at once: bounds the memory.
_SHRINK: Final = 0.85


@dataclass(frozen=True)
class Groups:
    """Points at ``r`` and ``z`` in m, the ``cell`` of each, and where the occupied cells are."""

    r: Real
    z: Real
    cell: Index
    row: Index
    column: Index
    size: float
    """m of a cell's side."""

    @property
    def members(self) -> list[Index]:
        """Points of each cell."""
        order = np.argsort(self.cell, kind="stable")
        return np.split(order, np.cumsum(np.bincount(self.cell))[:-1])

    def nodes(self, cells: Index) -> tuple[Real, Real]:
        """Places of the nodes of some cells, shape (cells, `_NODES` squared)."""
        up, along = np.divmod(np.arange(_NODES**2), _NODES)
        unit = 0.5 + 0.5 * _chebyshev()
        r = self.r.min() + self.size * (self.row[cells, None] + unit[up])
        z = self.z.min() + self.size * (self.column[cells, None] + unit[along])
        return r, z

    def basis(self) -> Real:
        """Value at each point of the polynomial of each of its cell's nodes, (points, nodes)."""
        up = 2.0 * ((self.r - self.r.min()) / self.size - self.row[self.cell]) - 1.0
        along = 2.0 * ((self.z - self.z.min()) / self.size - self.column[self.cell]) - 1.0
        each = _polynomials(up)[:, :, None] * _polynomials(along)[:, None, :]
        return np.asarray(each.reshape(len(self.r), -1))

    def near(self, kernel: Kernel) -> Iterator[Block]:
        """Points of each cell, those of it and its neighbours, and the kernel, 0 at a point itself."""
        members = self.members
        at = {where: n for n, where in enumerate(zip(self.row, self.column, strict=True))}
        around = [(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)]
        for (row, column), target in zip(at, members, strict=True):
            cells = [at[row + i, column + j] for i, j in around if (row + i, column + j) in at]
            source = np.concatenate([members[n] for n in cells])
            own = target[:, None] == source
            r, z = self.r[target, None], self.z[target, None]
            # Beside itself, at no distance: anything finite, which is then set to zero.
            value = kernel(self.r[source], self.z[source], r, z + own * self.r.max())
            yield target, source, np.where(own, 0.0, value)

    def far(self, kernel: Kernel, shifts: bool = False) -> Iterator[Block]:
        """Cells that are no neighbours, by their nodes; each distinct pair of places once.

        ``shifts``: the kernel depends on the difference of both places only, else on that along z.
        """
        count = len(self.row)
        target, source = np.divmod(np.arange(count**2), count)
        up, along = self.row[target] - self.row[source], self.column[target] - self.column[source]
        apart = (np.abs(up) > 1) | (np.abs(along) > 1)
        target, source, up, along = (x[apart] for x in (target, source, up, along))
        if not len(target):
            return
        key = (up - up.min()) * (np.ptp(along) + 1) + along - along.min()
        if not shifts:
            key = key * (self.row.max() + 1) + self.row[target]
        order = np.argsort(key, kind="stable")
        starts = np.flatnonzero(np.diff(key[order], prepend=-1))
        pairs = np.split(order, starts[1:])
        for low in range(0, len(pairs), _TABLES):
            some = pairs[low : low + _TABLES]
            first = np.array([pair[0] for pair in some])
            r1, z1 = (x[:, None, :] for x in self.nodes(source[first]))
            r, z = (x[:, :, None] for x in self.nodes(target[first]))
            table = kernel(r1, z1, r, z)
            for n, pair in enumerate(some):
                yield target[pair], source[pair], table[..., n, :, :]


def gather(r: Real, z: Real, members: int) -> Groups:
    """Groups of about ``members`` of the points at ``r`` and ``z``, or one of all."""
    size = 1.01 * max(float(np.ptp(r)), float(np.ptp(z)), 1e-3 * float(np.abs(r).max()))
    wanted = len(r) / members if len(r) > EXACT else 1.0
    while True:
        row, column = (((x - x.min()) // size).astype(np.int64) for x in (r, z))
        across = int(column.max()) + 1
        cells, cell = np.unique(row * across + column, return_inverse=True)
        if len(cells) >= wanted:
            return Groups(r, z, cell, *np.divmod(cells, across), size)
        size *= _SHRINK


def apply(groups: Groups, near: Iterable[Block], far: Iterable[Block], weight: Values) -> Values:
    """The kernel's sum over all sources by their ``weight`` at each point, from its blocks.

    ``weight`` of shape (points,), or (sets, points) for a sum each, shape (..., sets, points).
    """
    basis, count, sets = groups.basis(), len(groups.row), weight.shape[:-1]
    by_point = weight.reshape(-1, weight.shape[-1]).T
    moments = np.zeros((count, _NODES**2, by_point.shape[1]), dtype=weight.dtype)
    np.add.at(moments, groups.cell, basis[:, :, None] * by_point[:, None, :])
    total: Values | None = None
    for target, source, value in near:
        if total is None:
            total = np.zeros((*value.shape[:-2], *by_point.shape), dtype=value.dtype)
        total[..., target, :] += value @ by_point[source]
    assert total is not None
    at_nodes = np.zeros((*total.shape[:-2], count, *moments.shape[1:]), dtype=total.dtype)
    for target, source, value in far:
        at_nodes[..., target, :, :] += value[..., None, :, :] @ moments[source]
    total += np.einsum("pk,...pks->...ps", basis, at_nodes[..., groups.cell, :, :])
    return np.moveaxis(total, -1, -2).reshape(*total.shape[:-2], *sets, -1)


def stand_ins(r: Real, z: Real, weight: Real, members: int) -> tuple[Real, Real, Real]:
    """Fewer points for many, as seen from outside: places, none beyond the points', and weights.

    ``weight`` of shape (points,), or (sets, points).
    """
    groups = gather(r, z, members)
    if len(groups.row) == 1:
        return r, z, weight
    found = []
    for some in groups.members:
        (high, up), (right, along) = (_fitted(x[some]) for x in (r, z))
        total = np.einsum("pi,pj,...p->...ij", up, along, weight[..., some])
        total = total.reshape(*weight.shape[:-1], -1)
        found.append((np.repeat(high, _NODES), np.tile(right, _NODES), total))
    place_r, place_z, totals = zip(*found, strict=True)
    return np.concatenate(place_r), np.concatenate(place_z), np.concatenate(totals, axis=-1)


def _fitted(x: Real) -> tuple[Real, Real]:
    """Nodes between the least and greatest of ``x``, and their polynomials there."""
    middle, half = 0.5 * (x.max() + x.min()), 0.5 * np.ptp(x)
    return middle + half * _chebyshev(), _polynomials((x - middle) / (half or 1.0))


def _chebyshev() -> Real:
    """`_NODES` places between -1 and 1."""
    return np.cos((np.arange(_NODES) + 0.5) * np.pi / _NODES)


def _polynomials(x: Real) -> Real:
    """Lagrange's polynomials of the nodes at ``x``, shape (len(x), nodes)."""
    node = _chebyshev()
    others = [np.delete(node, k) for k in range(_NODES)]
    each = [np.prod((x[:, None] - o) / (node[k] - o), axis=1) for k, o in enumerate(others)]
    return np.stack(each, axis=1)
