"""What the lay of a cable on the day adds to its straight impedance: coils, split coils, eights.

All results are series impedance in ohm of the whole run (loop), to be added to the straight model's
impedance for the same length. The straight model keeps each conductor's internal impedance and the
field of the pair; the difference is formed before the wire's radius enters, so no digits cancel.

    Z_lay(f) = j omega (L_turns + L_twist) + Z_crowding(f) + j omega L_iron(f)

L_turns: currents spread evenly in the wires (low frequency); thin rings, so good to about (spacing /
radius of the coil)^2. Z_crowding: eddy currents that the field of the other turns drives in each
wire (proximity) beyond those of the straight pair. Wires answer as dipoles that drive one another;
the field is taken as even across a wire. Against a multipole solution of the whole bundle, up to
20 kHz and down to 1.3 wire diameters between centres, resistance of straight and lay together is
right within 1 % for split coils, 5 % for a flat twin, 2 % for random orientation (tests), and about
15 % for eights, whose dipoles are left uncoupled. Re Z_crowding may be negative, where turns undo
part of the pair's own proximity loss; straight and lay together never are. Capacitance between
turns is left out: valid well below the coil's own resonance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.coil import (
    ROUNDING,
    Packing,
    Turns,
    Winding,
    mutual_beside,
    mutual_coaxial,
    pack,
    path_field,
    path_inductance,
    require_choice,
    require_positive,
    ring_field,
    ring_mutual,
    ring_self,
    twist_coupling,
    twist_inductance,
    winding_inductance,
)
from auralize.circuit.conductor import (
    MU_0,
    Complex,
    Conductor,
    Real,
    bessel_argument,
    bessel_ratios,
)
from auralize.circuit.iron import IronBar, added_inductance, coil_field, distant_field

Facing = Literal["aligned", "edge to edge", "stacked", "random"]
"""How the flat sides of an untwisted twin lie, both conductors at one radius unless random.

aligned: rows edge to edge and layers face to face; edge to edge: one layer; stacked: face on face
in the fewest piles that leave half the mean radius free; random: every turn its own way.
"""
EightFacing = Literal["edge to edge", "stacked", "random"]
Arrangement = Literal["coaxial", "side by side"]
Sense = Literal["same", "opposed"]
"""Which way the loop's current goes round the two coils, seen from one side."""

_ORIENTATIONS: Final = 8
# Equal steps of the angle over half a turn: exact for the harmonics that matter (up to the 15th).
EIGHT_POINTS: Final = 64
# Polyline points on one figure; doubling them changes L by less than 0.5 % (tested).
_EIGHT_SAMPLE: Final = 7
# The field is sampled at every 7th piece, which walks through all places of the figure.
_CROSSING: Final = 8
# Even power of the cosine that shapes the rise at the crossing: over a fifth of the figure.
_PACKINGS: Final = get_args(Packing)
_FRUSTRATED: Final = -0.5
# Mean cosine between three phases 120 degrees apart, the least that mutual neighbours can reach.


@dataclass(frozen=True)
class LaidCable:
    """Two-conductor cable as a shape, lengths in m: conductors ``spacing`` apart between centres.

    ``core_diameter`` is one conductor with its insulation, ``sheath`` the thickness of what lies
    round both, ``lay_length`` that of the twist (None: untwisted, a flat twin).
    """

    conductor: Conductor
    spacing: float
    core_diameter: float
    sheath: float = 0.0
    lay_length: float | None = None

    def __post_init__(self) -> None:
        require_positive(spacing=self.spacing, core_diameter=self.core_diameter)
        if not 0.0 <= self.sheath < math.inf:
            raise ValueError(f"the sheath must be 0 or thicker, not {self.sheath:g} m")
        if self.core_diameter < 2.0 * self.conductor.radius:
            raise ValueError(
                f"a core {self.core_diameter:g} m across cannot hold a conductor "
                f"{2.0 * self.conductor.radius:g} m across"
            )
        if self.spacing < self.core_diameter * (1.0 - ROUNDING):
            raise ValueError(
                f"cores {self.core_diameter:g} m across cannot lie {self.spacing:g} m apart"
            )
        if self.lay_length is not None and not self.lay_length > math.pi * self.spacing:
            raise ValueError(
                f"a lay length of {self.lay_length:g} m is too short for a spacing of "
                f"{self.spacing:g} m; it must be over pi times the spacing"
            )

    @property
    def width(self) -> float:
        """Outer size in m across both conductors."""
        return self.spacing + self.core_diameter + 2.0 * self.sheath

    @property
    def thickness(self) -> float:
        """Outer size in m across one conductor; a twisted pair is round."""
        flat = self.core_diameter + 2.0 * self.sheath
        return flat if self.lay_length is None else self.width


def on_reel(barrel: float, width: float, length: float, cable: LaidCable) -> Winding:
    """``length`` m of the whole cable wound in square rows on a barrel of that diameter, in m."""
    require_positive(barrel=barrel, width=width, length=length)
    per_layer = math.floor(width / cable.width * (1.0 + ROUNDING))
    if per_layer < 1:
        raise ValueError(f"a reel {width:g} m wide cannot take a cable {cable.width:g} m wide")
    left, turns, diameter = length, 0.0, barrel + cable.thickness
    while left > 0.0:
        wound = min(per_layer, left / (math.pi * diameter))
        turns += wound
        left -= per_layer * math.pi * diameter
        diameter += 2.0 * cable.thickness
    return Winding(length / (math.pi * turns), turns, "square", width)


@dataclass(frozen=True)
class Straight:
    """Laid out; only a twist adds something."""


@dataclass(frozen=True)
class Coiled:
    """Both conductors coiled together. A twisted pair's turns have unrelated twist phases."""

    winding: Winding
    facing: Facing = "random"
    iron: IronBar | None = None

    def __post_init__(self) -> None:
        require_choice("facing", self.facing, Facing)


@dataclass(frozen=True)
class SplitCoils:
    """Each conductor coiled by itself, the centres of the coils ``distance`` m apart.

    ``sense`` is that of the current: conductors coiled the same way round from the same end carry
    it in opposed sense, as one is the return. Iron goes through the middle of the first coil.
    """

    first: Winding
    second: Winding
    distance: float
    arrangement: Arrangement = "coaxial"
    sense: Sense = "opposed"
    iron: IronBar | None = None

    def __post_init__(self) -> None:
        require_choice("arrangement", self.arrangement, Arrangement)
        require_choice("sense", self.sense, Sense)
        if not 0.0 <= self.distance < math.inf:
            raise ValueError(f"the coils' distance must be 0 or more, not {self.distance:g} m")


@dataclass(frozen=True)
class FigureOfEight:
    """Both conductors laid in ``figures`` eights on a floor; lobe sizes in m.

    stacked: on the broad face; edge to edge: on the narrow side. The path is x = l sin t,
    y = w/2 sin 2t, rising by the cable's height for each figure, twice that at the crossing.
    """

    lobe_length: float
    lobe_width: float
    figures: float
    facing: EightFacing = "random"

    def __post_init__(self) -> None:
        require_positive(lobe_length=self.lobe_length, lobe_width=self.lobe_width)
        require_choice("facing", self.facing, EightFacing)
        if not 1.0 <= self.figures < math.inf:
            raise ValueError(f"a figure-of-eight needs 1 figure or more, not {self.figures:g}")

    @property
    def length(self) -> float:
        """m of cable in the figures (their rise left out)."""
        t = np.linspace(0.0, 2.0 * np.pi, 4001)
        x, y = self.lobe_length * np.sin(t), 0.5 * self.lobe_width * np.sin(2.0 * t)
        return self.figures * float(np.hypot(np.diff(x), np.diff(y)).sum())


Lay = Straight | Coiled | SplitCoils | FigureOfEight


@dataclass(frozen=True)
class AddedRange:
    """Added impedance in ohm over what is not known of the lay; `nominal` is what is rendered."""

    low: Complex
    nominal: Complex
    high: Complex
    assumption: str
    """What the nominal value takes for granted, in words."""


def added_impedance(lay: Lay, cable: LaidCable, length: float, frequency: Real) -> Complex:
    """Series impedance in ohm that the lay adds to ``length`` m of straight run, at Hz from 0.

    What is not coiled lies straight; its coupling to the coil is left out. Raises ValueError for
    geometry that cannot be.
    """
    return _impedance(_effect(lay, cable, length), cable, _checked(frequency))


def added_range(lay: Lay, cable: LaidCable, length: float, frequency: Real) -> AddedRange:
    """`added_impedance` with its lowest and highest value (by inductance) over the unknowns."""
    frequency = _checked(frequency)
    nominal = _effect(lay, cable, length)
    others, assumption = _alternatives(lay, cable, length)
    ordered = sorted([nominal, *others], key=lambda effect: effect.inductance)
    low, middle, high = (
        _impedance(effect, cable, frequency) for effect in (ordered[0], nominal, ordered[-1])
    )
    return AddedRange(low, middle, high, assumption)


@dataclass(frozen=True)
class _Crowding:
    """Modes of the eddy dipoles in the wires, those of the straight pair among them as negative.

    ``strength``: sum along the wires of H^2 at 1 A, 1/m; ``coupling``: field per dipole, 1/m2.
    """

    strength: Real
    coupling: Real


_NO_CROWDING: Final = _Crowding(np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class _Effect:
    """A lay solved as far as frequency does not matter."""

    inductance: float
    """H, beyond the straight pair."""
    crowding: _Crowding
    iron: IronBar | None = None
    iron_field: Real | None = None


def _impedance(effect: _Effect, cable: LaidCable, frequency: Real) -> Complex:
    """ohm. A field H makes of a wire, by its eddy currents, a dipole -2 pi a^2 (I2/I0) H per metre.

    Exact for a round wire across an even field (Smythe, Static and Dynamic Electricity, section 10;
    from memory); at low frequency its loss is pi sigma omega^2 mu0^2 a^4 H^2 / 4.
    """
    ratios = bessel_ratios(bessel_argument(frequency, cable.conductor), 2)
    dipole = 2.0 * math.pi * cable.conductor.radius**2 * ratios[0] * ratios[1]
    inductance = np.full(frequency.shape, effect.inductance, dtype=np.complex128)
    for strength, coupling in zip(effect.crowding.strength, effect.crowding.coupling, strict=True):
        inductance -= MU_0 * strength * dipole / (1.0 + coupling * dipole)
    if effect.iron is not None and effect.iron_field is not None:
        inductance += added_inductance(effect.iron, effect.iron_field, frequency)
    return np.asarray(2j * np.pi * frequency * inductance, dtype=np.complex128)


def _effect(lay: Lay, cable: LaidCable, length: float) -> _Effect:
    """The lay and the twist of ``length`` m together."""
    require_positive(length=length)
    if isinstance(lay, Straight):
        effect = _Effect(0.0, _NO_CROWDING)
    elif isinstance(lay, Coiled):
        _fits(lay.winding.length, length)
        effect = _coiled(lay, cable)
    elif isinstance(lay, SplitCoils):
        _fits(max(lay.first.length, lay.second.length), length)
        effect = _split(lay, cable)
    else:
        _fits(lay.length, length)
        effect = _eight(lay, cable)
    if cable.lay_length is None:
        return effect
    twist = length * twist_inductance(cable.spacing, cable.lay_length)
    return replace(effect, inductance=effect.inductance + twist)


def _fits(wound: float, length: float) -> None:
    if wound > length * (1.0 + ROUNDING):
        raise ValueError(f"{wound:.4g} m are coiled, and the run is only {length:g} m long")


def _bar_fits(bar: IronBar | None, turns: Turns, thickness: float) -> None:
    inside = 2.0 * turns.radius.min() - thickness
    if bar is not None and bar.diameter > inside * (1.0 + ROUNDING):
        raise ValueError(
            f"a bar {bar.diameter:g} m thick does not go through a coil "
            f"that is {inside:.4g} m across inside"
        )


# ---- both conductors together -------------------------------------------------------------------


def _coiled(lay: Coiled, cable: LaidCable) -> _Effect:
    turns = turns_of(lay, cable)
    _bar_fits(lay.iron, turns, cable.thickness)
    if lay.facing == "random":
        return _random_pair(turns, cable)
    return _flat_pair(turns, cable, lay.iron)


def turns_of(lay: Coiled, cable: LaidCable) -> Turns:
    """Centres of the cable in every turn."""
    if lay.facing == "random":  # each turn takes the room that it needs in any orientation
        return pack(lay.winding, cable.width, cable.width)
    if cable.lay_length is not None:
        raise ValueError(f"a twisted pair has no flat sides to lie {lay.facing!r}")
    columns = None
    if lay.facing == "edge to edge":
        columns = math.ceil(lay.winding.turns)
    elif lay.facing == "stacked":
        pile = max(1, math.floor(0.5 * lay.winding.mean_diameter / cable.thickness))
        columns = math.ceil(lay.winding.turns / pile)
    return pack(lay.winding, cable.width, cable.thickness, columns)


def _flat_pair(turns: Turns, cable: LaidCable, iron: IronBar | None) -> _Effect:
    """Conductors of every turn at its radius, side by side along the axis."""
    r, z, share, half = turns.radius, turns.place, turns.share, 0.5 * cable.spacing
    own = 2.0 * share * (ring_self(r, cable.spacing) - ring_mutual(r, z - half, r, z + half))
    i, j = np.triu_indices(len(r), 1)
    like = 2.0 * ring_mutual(r[i], z[i], r[j], z[j])
    unlike = ring_mutual(r[i], z[i] - half, r[j], z[j] + half)
    unlike = unlike + ring_mutual(r[i], z[i] + half, r[j], z[j] - half)
    others = 2.0 * share[i] * share[j] * (like - unlike)
    rings = Turns(np.tile(r, 2), np.append(z - half, z + half), np.append(share, -share))
    field = coil_field(iron, rings) if iron else None
    return _Effect(float(own.sum() + others.sum()), _crowding(rings, cable), iron, field)


def _random_pair(turns: Turns, cable: LaidCable, in_phase: float = 0.0) -> _Effect:
    """Mean over all orientations of every turn (or twist phases), each free of the others.

    The turns' couplings then cancel exactly, as does their field on iron; what is left is the bend
    within each turn. ``in_phase``: mean cosine between the turns' phases of a twisted pair.
    """
    distance = np.hypot(turns.radius[:, None] - turns.radius, turns.place[:, None] - turns.place)
    own = np.eye(len(distance), dtype=bool)
    distance[own] = cable.width  # any: what it gives is set to zero
    inductance = float(turns.share @ _bend(turns.radius, cable.spacing))
    if in_phase and cable.lay_length is not None:
        coupling = twist_coupling(distance, cable.spacing, cable.lay_length)
        met = 2.0 * np.pi * np.sqrt(np.outer(turns.radius, turns.radius))
        coupled = np.where(own, 0.0, met * coupling)
        inductance += in_phase * float(turns.share @ coupled @ turns.share)
    # Mean square field of a pair (half spacing b) at a conductor b off the centre of another pair,
    # 4 b^2 (d^2 + b^2) / (d^2 - b^2)^3 / 4 pi^2: plane field, right within 1 % from d = 4 b on.
    b2, d2 = 0.25 * cable.spacing**2, distance**2
    square = np.where(own, 0.0, b2 * (d2 + b2) / (d2 - b2) ** 3 / np.pi**2)
    strength = 2.0 * turns.lengths @ square @ turns.share
    return _Effect(inductance, _Crowding(np.array([strength]), np.zeros(1)))


def _bend(radius: Real, spacing: float) -> Real:
    """H that bending a straight pair to a turn adds, in the mean over the pair's orientation."""
    angle = np.arange(_ORIENTATIONS) * np.pi / _ORIENTATIONS
    up, along = 0.5 * spacing * np.sin(angle), 0.5 * spacing * np.cos(angle)
    inner, outer = radius[:, None] - up, radius[:, None] + up
    bent = ring_self(inner, spacing) + ring_self(outer, spacing)
    bent = bent - 2.0 * ring_mutual(inner, along, outer, -along)
    return np.asarray(bent.mean(axis=1), dtype=np.float64)


def _crowding(rings: Turns, cable: LaidCable) -> _Crowding:
    """Of conductors as rings that carry 1 A by their share, less the same length of straight pair."""
    r, z = rings.radius, rings.place
    own = np.eye(len(r), dtype=bool)
    radial, axial = ring_field(r, z, r[:, None], z[:, None] + own * r)  # own place: set below
    # A ring's own field at its wire, from the hoop force mu0 I^2 (ln(8R/a) - 3/4) / 4 pi R
    # (Maxwell; value from memory).
    bend = (np.log(8.0 * r / cable.conductor.radius) - 0.75) / (4.0 * np.pi * r)
    h_radial = np.where(own, 0.0, radial) @ rings.share
    h_axial = np.where(own, 0.0, axial) @ rings.share + np.sign(rings.share) * bend
    weight = np.sqrt(rings.lengths)
    coupling, mode = np.linalg.eigh(_dipole_coupling(r + 1j * z))
    driven = mode.T @ np.append(weight * h_radial, weight * h_axial)
    pair = _pair_field(cable)
    return _Crowding(
        np.append(driven**2, -rings.lengths.sum() * pair**2),
        np.append(coupling, -2.0 * math.pi * pair**2),
    )


def _dipole_coupling(place: Complex) -> NDArray[np.float64]:
    """Field per dipole in 1/m2, (2 (m d) d - m) / 2 pi d^2, as between long straight wires.

    Shape (2N, 2N): along the real, then along the imaginary axis of the section; symmetric.
    """
    own = np.eye(len(place), dtype=bool)
    apart = place[:, None] - place + own
    twice = np.where(own, 0.0, (apart / np.abs(apart) ** 2) ** 2 / (2.0 * np.pi))
    return np.block([[twice.real, twice.imag], [twice.imag, -twice.real]])


def _pair_field(cable: LaidCable) -> float:
    """H in A/m at each conductor from the other, straight pair, 1 A."""
    return 1.0 / (2.0 * math.pi * cable.spacing)


# ---- each conductor by itself -------------------------------------------------------------------


def _split(lay: SplitCoils, cable: LaidCable) -> _Effect:
    if cable.lay_length is not None:
        raise ValueError("the conductors of a twisted pair cannot be coiled apart; untwist them")
    a, b = split_turns(lay, cable)
    # The straight pair is what wires of GMR `spacing` would leave: the wire's own GMR cancels.
    inductance = sum(winding_inductance(turns, cable.spacing) for turns in (a, b))
    field = None
    if lay.arrangement == "coaxial":
        both = _together(a, b)
        mutual, crowding = mutual_coaxial(a, b), _crowding(both, cable)
        field = coil_field(lay.iron, both) if lay.iron else None
    else:  # each coil's field in the other's wires is left out
        mutual = mutual_beside(a, b, lay.distance)
        one, other = _crowding(a, cable), _crowding(b, cable)
        crowding = _Crowding(
            np.append(one.strength, other.strength), np.append(one.coupling, other.coupling)
        )
        if lay.iron:
            field = coil_field(lay.iron, a) + distant_field(lay.iron, b, lay.distance)
    return _Effect(inductance + 2.0 * mutual, crowding, lay.iron, field)


def split_turns(lay: SplitCoils, cable: LaidCable) -> tuple[Turns, Turns]:
    """Turns of both coils; the second's share has the sign of its sense, its place the distance."""
    a, b = (pack(w, cable.core_diameter, cable.core_diameter) for w in (lay.first, lay.second))
    _bar_fits(lay.iron, a, cable.core_diameter)
    if lay.arrangement == "coaxial":
        _bar_fits(lay.iron, b, cable.core_diameter)
        b = replace(b, place=b.place + lay.distance)
        gap = np.hypot(a.radius[:, None] - b.radius, a.place[:, None] - b.place).min()
        needed, words = cable.core_diameter, "between their nearest turns"
    else:
        gap = lay.distance
        needed = a.radius.max() + b.radius.max() + cable.core_diameter
        words = "between their axes"
    if gap < needed * (1.0 - ROUNDING):
        raise ValueError(
            f"coils {lay.distance:g} m apart ({lay.arrangement}) overlap: "
            f"they have {gap:.4g} m and need {needed:.4g} m {words}"
        )
    return a, b if lay.sense == "same" else replace(b, share=-b.share)


def _together(a: Turns, b: Turns) -> Turns:
    return Turns(
        np.append(a.radius, b.radius), np.append(a.place, b.place), np.append(a.share, b.share)
    )


# ---- figure of eight ----------------------------------------------------------------------------


def _eight(lay: FigureOfEight, cable: LaidCable) -> _Effect:
    least = 0.5 * min(lay.lobe_length, lay.lobe_width)
    if least < cable.width:
        raise ValueError(
            f"a lobe {least * 2.0:g} m across is too small for a cable {cable.width:g} m wide"
        )
    if lay.facing == "random":  # as in a coil: unrelated orientations couple to nothing in the mean
        return _Effect(0.0, _NO_CROWDING)
    if cable.lay_length is not None:
        raise ValueError(f"a twisted pair has no flat sides to lie {lay.facing!r}")
    paths = eight_paths(lay, cable)
    inductance = path_inductance(paths, [1.0, -1.0], cable.spacing)
    return _Effect(inductance, _path_crowding(paths, cable))


def eight_paths(
    lay: FigureOfEight, cable: LaidCable, points: int = EIGHT_POINTS
) -> list[NDArray[np.float64]]:
    """Centre lines of both conductors, shape (points, 3) in m; ``points`` for each figure."""
    on_edge = lay.facing == "edge to edge"
    height = cable.width if on_edge else cable.thickness
    count = math.ceil(lay.figures * points)
    t = np.linspace(0.0, 2.0 * np.pi * lay.figures, count + 1)
    x, y = lay.lobe_length * np.sin(t), 0.5 * lay.lobe_width * np.sin(2.0 * t)
    # Both strands pass each crossing, so the pile grows twice as fast there as in the lobes.
    z = height * t / (2.0 * np.pi) * (1.0 + np.cos(t) ** _CROSSING)
    dx, dy = lay.lobe_length * np.cos(t), lay.lobe_width * np.cos(2.0 * t)
    speed = np.hypot(dx, dy)
    nothing = np.zeros_like(t)
    level = [-dy / speed, dx / speed, nothing]
    offset = 0.5 * cable.spacing * np.stack([nothing, nothing, nothing + 1.0] if on_edge else level)
    centre = np.stack([x, y, z])
    return [(centre + offset).T, (centre - offset).T]


def _path_crowding(paths: list[NDArray[np.float64]], cable: LaidCable) -> _Crowding:
    """From a sample of the pieces, less that of the straight pair; dipoles uncoupled."""
    middle = np.concatenate([0.5 * (p[1:] + p[:-1]) for p in paths])
    length = np.concatenate([np.linalg.norm(np.diff(p, axis=0), axis=1) for p in paths])
    sample = np.arange(0, len(middle), _EIGHT_SAMPLE)
    field = path_field(paths, [1.0, -1.0], middle[sample], list(sample))
    excess = (field**2).sum(axis=1) - _pair_field(cable) ** 2
    strength = length.sum() * np.average(excess, weights=length[sample])
    return _Crowding(np.array([strength]), np.zeros(1))


# ---- what is not known --------------------------------------------------------------------------


def _alternatives(lay: Lay, cable: LaidCable, length: float) -> tuple[list[_Effect], str]:
    """Other lays that the same words allow, and what the nominal one assumes."""
    if isinstance(lay, Straight):
        return [], "laid out straight"
    if isinstance(lay, SplitCoils):
        pairs = [(replace(lay.first, packing=p), replace(lay.second, packing=p)) for p in _PACKINGS]
        others: list[Lay] = [replace(lay, first=a, second=b) for a, b in pairs]
        words = f"turns packed {lay.first.packing} and {lay.second.packing}"
        return _feasible(others, cable, length), words
    if isinstance(lay, Coiled) and cable.lay_length is not None:
        return _phases(lay, cable, length), "twist phases of the turns unrelated to one another"
    if isinstance(lay, Coiled) and lay.facing != "random":
        others = [replace(lay, winding=replace(lay.winding, packing=p)) for p in _PACKINGS]
        return _feasible(others, cable, length), f"flat sides {lay.facing}, {lay.winding.packing}"
    if cable.lay_length is not None or lay.facing != "random":
        return [], f"eights {lay.facing}"
    facings = get_args(Facing if isinstance(lay, Coiled) else EightFacing)
    others = [replace(lay, facing=facing) for facing in facings]
    return _feasible(others, cable, length), "flat sides turned at random, as no facing is given"


def _phases(lay: Coiled, cable: LaidCable, length: float) -> list[_Effect]:
    """The twisted pair's turns least and most in phase, as if they kept it all round."""
    turns, twist = turns_of(lay, cable), _effect(Straight(), cable, length).inductance
    extremes = [_random_pair(turns, cable, cosine) for cosine in (_FRUSTRATED, 1.0)]
    return [replace(effect, inductance=effect.inductance + twist) for effect in extremes]


def _feasible(lays: list[Lay], cable: LaidCable, length: float) -> list[_Effect]:
    """Effects of those lays whose turns find room; a looser one may not."""
    effects = []
    for lay in lays:
        try:
            effects.append(_effect(lay, cable, length))
        except ValueError:
            continue
    return effects


def _checked(frequency: Real) -> Real:
    frequency = np.asarray(frequency, dtype=np.float64)
    if not np.all(np.isfinite(frequency) & (frequency >= 0.0)):
        raise ValueError("frequencies must be 0 Hz or above, and finite")
    return frequency
