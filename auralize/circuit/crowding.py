"""Crowding: eddy currents that the field of other turns drives in each wire (proximity).

Wires answer as dipoles that drive one another; accuracy is stated in `added_impedance`. What the
dipoles put into a conductor is, by reciprocity, what that conductor's own field finds at them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.coil import ROUNDING
from auralize.circuit.conductor import MU_0, Complex, Real, bessel_argument, bessel_ratios
from auralize.circuit.groups import apply, gather
from auralize.circuit.lays import LaidCable
from auralize.circuit.paths import path_field, sampled
from auralize.circuit.ring_sums import Wound, fields_of_each

_MEMBERS: Final = 40
# Wires in a group; few, as the coupling within neighbouring groups is kept in memory.
_MODES: Final = 8
# Twice as many move what coils add by under 1e-6, also where bare wires nearly touch (tests).


@dataclass(frozen=True)
class Modes:
    """Few modes that answer to a field as all the eddy dipoles in the wires do.

    ``seen``: field of plus and of minus along each mode at 1 A, shape (2, modes), and ``drive``, that
    of both; their product, summed along the wires, is in 1/m. ``coupling``: field per dipole, 1/m2;
    ``of_plus``: what part of two modes is in the wire of plus; both of shape (modes, modes).
    """

    seen: Real
    drive: Real
    coupling: Real
    of_plus: Real

    def inductance(self, dipole: Complex) -> Complex:
        """H along plus and minus, shape (2, frequencies), for dipoles in m2 as in `wire_dipoles`."""
        plus, minus = dipole
        ratio = np.where(minus == 0.0, 1.0, plus / np.where(minus == 0.0, 1.0, minus))
        of_minus = np.eye(len(self.of_plus)) - self.of_plus
        system = self.of_plus + ratio[:, None, None] * of_minus
        system = system + plus[:, None, None] * self.coupling
        answer = np.linalg.solve(
            system, np.broadcast_to(self.drive[:, None], (len(plus), len(self.drive), 1))
        )
        return np.asarray(-MU_0 * plus * (self.seen @ answer[..., 0].T))


@dataclass(frozen=True)
class Crowding:
    """Modes of the eddy dipoles in the wires, and those of the straight pair that they replace.

    ``alone``: of dipoles that drive no others, the sum along the wire of plus and of minus (columns)
    of H at 1 A times the H of plus and of minus (rows), 1/m.
    """

    modes: tuple[Modes, ...] = ()
    instead_of: tuple[Modes, ...] = ()
    alone: Real | None = None

    def inductance(self, cable: LaidCable, frequency: Real) -> Complex:
        """H that they add along plus and minus, shape (2, frequencies); complex, as they lose power."""
        found = np.zeros((2, *np.shape(frequency)), dtype=np.complex128)
        if self is NO_CROWDING:
            return found
        dipole = wire_dipoles(cable, frequency)
        for modes in self.modes:
            found += modes.inductance(dipole)
        for modes in self.instead_of:
            found -= modes.inductance(dipole)
        return found if self.alone is None else found - MU_0 * self.alone @ dipole


NO_CROWDING: Final = Crowding()


def wire_dipoles(cable: LaidCable, frequency: Real) -> Complex:
    """Dipole in m2 that a unit of H makes of the wire of plus and of minus, shape (2, frequencies).

    A field H makes of a wire, by its eddy currents, a dipole -2 pi a^2 (I2/I0) H per metre: exact for
    a round wire across an even field (Smythe, Static and Dynamic Electricity, section 10; from
    memory); at low frequency its loss is pi sigma omega^2 mu0^2 a^4 H^2 / 4.
    """
    found = []
    for wire in cable.conductors:
        ratios = bessel_ratios(bessel_argument(frequency, wire), 2)
        found.append(2.0 * math.pi * wire.radius**2 * ratios[0] * ratios[1])
    return np.stack(found)


def crowding_of_rings(wound: Wound, cable: LaidCable) -> Crowding:
    """Of conductors as rings that carry 1 A by their share, less the same length of straight pair."""
    rings = wound.rings
    plus, minus = (wire.radius for wire in cable.conductors)
    wire = np.where(wound.of_plus, plus, minus)
    # A ring's own field at its wire, from the hoop force mu0 I^2 (ln(8R/a) - 3/4) / 4 pi R
    # (Maxwell; value from memory).
    bend = (np.log(8.0 * rings.radius / wire) - 0.75) / (4.0 * np.pi * rings.radius)
    bent = 1j * wound.each * np.sign(rings.share) * bend
    driven = np.sqrt(rings.lengths) * (fields_of_each(wound) + bent)
    lengths = wound.each @ rings.lengths
    alike = cable.conductors[0] == cable.conductors[1]
    return Crowding((_driven_modes(wound, driven, alike),), (_straight(cable, lengths),))


def _straight(cable: LaidCable, lengths: Real) -> Modes:
    """A straight pair's: each wire in the field of the other; ``lengths`` in m, of each its own."""
    field = pair_field(cable)
    other = np.array([[0.0, 1.0], [1.0, 0.0]])
    coupling = -2.0 * math.pi * field**2 * other
    return Modes(field * other * lengths[:, None], np.full(2, field), coupling, np.diag([1.0, 0.0]))


def _driven_modes(wound: Wound, driven: Complex, alike: bool) -> Modes:
    """Few modes that answer to the field of both conductors as all of the dipoles do.

    Krylov's vectors from the field on: n of them are right to the coupling's power 2 n - 1 for the
    whole (n - 1 for one conductor), and that power falls, as dipoles do not outdo the field that
    drives them. Wires that are not ``alike`` answer each in its own measure: each has its vectors.
    """
    rings = wound.rings
    groups = gather(rings.radius, rings.place, _MEMBERS)
    near, far = list(groups.near(_dipole)), list(groups.far(_dipole, shifts=True))
    wires = [np.ones_like(wound.of_plus)] if alike else [wound.of_plus, ~wound.of_plus]
    pending = [driven.sum(axis=0) * wire for wire in wires]
    found: list[Complex] = []
    fields: list[Complex] = []
    while pending and len(found) < _MODES * len(wires):
        vector = pending.pop(0)
        size = np.linalg.norm(vector)
        for other in found * 2:  # twice, so that rounding does not grow
            vector = vector - float(np.vdot(other, vector).real) * other
        left = np.linalg.norm(vector)
        if left <= ROUNDING * size:
            continue
        found.append(vector / left)
        fields.append(apply(groups, near, far, found[-1].conj()))
        pending += [fields[-1] * wire for wire in wires]
    vectors = np.stack(found)
    seen = (driven @ vectors.conj().T).real
    coupling = (vectors.conj() @ np.stack(fields).T).real
    of_plus = (vectors[:, wound.of_plus] @ vectors[:, wound.of_plus].conj().T).real
    return Modes(seen, seen.sum(axis=0), coupling, of_plus)


def _dipole(r1: Real, z1: Real, r: Real, z: Real) -> Complex:
    """Field per conjugate of the dipole in 1/m2, both as radial + j axial, of long straight wires.

    (2 (m d) d - m) / 2 pi d^2, d the vector between them.
    """
    return np.asarray(1.0 / (2.0 * np.pi * ((r - r1) - 1j * (z - z1)) ** 2))


def pair_field(cable: LaidCable) -> float:
    """H in A/m at each conductor from the other, straight pair, 1 A."""
    return 1.0 / (2.0 * math.pi * cable.spacing)


def crowding_of_paths(paths: list[NDArray[np.float64]], cable: LaidCable, round_: int) -> Crowding:
    """Of two paths that go round and round in ``round_`` pieces, less the straight pair.

    From a sample of the rounds; dipoles uncoupled.
    """
    pieces = len(paths[0]) - 1
    rounds = [slice(low, low + round_ + 1) for low in range(0, pieces, round_)]
    half = len(rounds) // 2
    up, down = sampled(half), sampled(len(rounds) - half)
    chosen = zip([*up[0], *(len(rounds) - 1 - down[0])], [*up[1], *down[1]], strict=True)
    excess, length = np.zeros((2, 2)), 0.0
    for number, weight in chosen:
        fields, along = _fields(paths, rounds, int(number))
        # What plus and minus each do, times what both do, in the wire of plus and of minus.
        square = (fields * fields.sum(axis=0)).sum(axis=2).reshape(2, 2, -1)
        square = square - pair_field(cable) ** 2 * np.array([[[0.0], [1.0]], [[1.0], [0.0]]])
        excess += weight * (along.reshape(2, -1) * square).sum(axis=2)
        length += weight * float(along.sum())
    whole = sum(float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum()) for p in paths)
    return Crowding(alone=whole * excess / length)


def _fields(
    paths: list[NDArray[np.float64]], rounds: list[slice], number: int
) -> tuple[Real, Real]:
    """H in A/m of each path at the pieces of one round, shape (2, pieces, 3), and their lengths."""
    before, after = sampled(number), sampled(len(rounds) - 1 - number)
    others = [number, *(number - 1 - before[0]), *(number + 1 + after[0])]
    shares = np.array([1.0, *before[1], *after[1]])
    sources = [p[rounds[n]] for n in others for p in paths]
    currents = np.kron(shares, np.diag([1.0, -1.0]))
    own = np.concatenate([0.5 * (p[1:] + p[:-1]) for p in sources[:2]])
    along = np.concatenate([np.linalg.norm(np.diff(p, axis=0), axis=1) for p in sources[:2]])
    return path_field(sources, currents, own, list(range(len(own)))), along
