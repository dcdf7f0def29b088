"""Twist and figures of eight against the helices and paths followed in three dimensions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from auralize.circuit import coil, paths
from auralize.circuit.coil import GMR_ROUND
from auralize.circuit.conductor import Real
from auralize.circuit.figure_of_eight import EIGHT_POINTS, eight_paths
from auralize.circuit.lays import FigureOfEight, LaidCable, Straight
from support import ring_reference as reference
from support.lays import FLAT, TWISTED, added, straight, wire

# ---- twist --------------------------------------------------------------------------------------


@pytest.mark.parametrize("lay_length", [0.04, 0.06, 0.1])
@pytest.mark.parametrize(
    ("spacing", "radius"), [(2.5e-3, 0.8e-3), (4.2e-3, 1.23e-3), (6e-3, 1.5e-3)]
)
def test_twist_against_the_field_of_the_helices(
    lay_length: float, spacing: float, radius: float
) -> None:
    """Bar: 1 % of the loop's inductance, for the whole of what twisting adds per metre of cable."""
    cable = LaidCable(wire(radius), spacing, spacing, lay_length=lay_length)
    stretch = math.hypot(1.0, math.pi * spacing / lay_length)
    found = stretch * straight(cable) + added(Straight(), cable, 1.0)
    helices = reference.twisted_pair(spacing, lay_length, radius * math.exp(-0.25))
    assert helices > straight(cable) * 1.005
    assert abs(found - helices) < 3e-3 * straight(cable)


@pytest.mark.parametrize("distance", [8.4e-3, 14e-3])
def test_coupling_of_twisted_pairs_in_phase(distance: float) -> None:
    assert TWISTED.lay_length is not None
    k, b = 2.0 * math.pi / TWISTED.lay_length, 0.5 * TWISTED.spacing
    step = TWISTED.lay_length / 48
    here, there = np.arange(48) * step, np.arange(-48 * 30, 48 * 30) * step
    total = 0.0
    for i in (0.0, math.pi):
        for j in (0.0, math.pi):
            p, q = k * here + i, k * there + j
            dx = distance + b * (np.cos(q) - np.cos(p)[:, None])
            dy = b * (np.sin(q) - np.sin(p)[:, None])
            dz = there - here[:, None]
            along = 1.0 + (k * b) ** 2 * np.cos(q - p[:, None])
            term = (along / np.sqrt(dx**2 + dy**2 + dz**2)).sum() * step / 48
            total += 1e-7 * float(term) * (1.0 if i == j else -1.0)
    found = coil.twist_coupling(np.array([distance]), TWISTED.spacing, TWISTED.lay_length)
    assert found[0] == pytest.approx(total, rel=2e-3)


# ---- paths --------------------------------------------------------------------------------------


def solenoid(radius: float, turns: int, pitch: float, shift: float, points: int) -> Real:
    angle = np.linspace(0.0, 2.0 * np.pi * turns, turns * points + 1)
    height = pitch * (angle / (2.0 * np.pi) - 0.5 * turns) + shift
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=-1)


@pytest.mark.parametrize(("radius", "turns"), [(0.05, 8), (0.15, 20), (0.5, 8)])
@pytest.mark.parametrize("both", [False, True])
def test_neumann_on_a_helix_equals_the_ring_sum(radius: float, turns: int, both: bool) -> None:
    """Bars: 3 %, and 0.5 % for twice the points; for one conductor and for both."""
    pitch, gmr = FLAT.width, GMR_ROUND * FLAT.conductor.radius
    shifts = (-0.5 * FLAT.spacing, 0.5 * FLAT.spacing) if both else (0.0,)
    currents = [1.0, -1.0][: len(shifts)]
    coarse, fine = (
        paths.path_inductance(
            [solenoid(radius, turns, pitch, s, n) for s in shifts], currents, gmr
        ).sum()
        for n in (EIGHT_POINTS, 2 * EIGHT_POINTS)
    )
    place = (np.arange(turns) - 0.5 * (turns - 1)) * pitch
    z = np.concatenate([place + s for s in shifts])
    r = np.full(len(z), radius)
    rings = reference.coil(r, z, np.repeat(currents, turns), FLAT.conductor.radius)
    assert coarse == pytest.approx(rings, rel=0.005)
    assert coarse == pytest.approx(fine, rel=0.003)


def test_regularisation_stays_inside_its_own_piece() -> None:
    """Its radius enters as the logarithm of a straight wire's and nowhere else."""
    curves = [solenoid(0.1, 10, 0.0064, s, 64) for s in (-0.0016, 0.0016)]
    length = sum(float(np.linalg.norm(np.diff(c, axis=0), axis=1).sum()) for c in curves)
    thin, thick = (paths.path_inductance(curves, [1.0, -1.0], g).sum() for g in (1e-4, 1e-2))
    assert thin - thick == pytest.approx(2e-7 * length * math.log(100.0), rel=1e-9)


def test_field_of_a_path_is_that_of_a_ring() -> None:
    ring = solenoid(0.1, 1, 0.0, 0.0, 2000)
    points = np.array([[0.03, 0.0, 0.01], [0.0, 0.104, 0.002], [0.25, 0.0, -0.1]])
    (field,) = paths.path_field([ring], np.array([[2.0]]), points, [0, 0, 0])
    r, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    radial, axial = coil.ring_field(np.asarray(0.1), np.zeros(()), r, z)
    outwards = (field[:, :2] * points[:, :2]).sum(axis=1) / r
    # One of 2000 pieces is left out, which the skip is for.
    np.testing.assert_allclose(outwards, 2.0 * radial, rtol=0.02)
    np.testing.assert_allclose(field[:, 2], 2.0 * axial, rtol=0.02)


@pytest.mark.parametrize("facing", ["stacked", "edge to edge"])
def test_figure_of_eight_against_fine_integration(facing: str) -> None:
    lay = FigureOfEight(0.3, 0.25, 2, facing)  # type: ignore[arg-type]
    curves = [reference.evenly(curve, 2000) for curve in eight_paths(lay, FLAT, 20000)]
    gmr = FLAT.conductor.radius * math.exp(-0.25)
    expected = reference.paths(curves, [1.0, -1.0], gmr)
    cable = sum(float(np.linalg.norm(np.diff(c, axis=0), axis=1).sum()) for c in curves) / 2.0
    assert added(lay) + straight(FLAT) * cable == pytest.approx(expected, rel=5e-3)
    coarse, fine = (
        paths.path_inductance(eight_paths(lay, FLAT, n), [1.0, -1.0], gmr).sum()
        for n in (EIGHT_POINTS, 2 * EIGHT_POINTS)
    )
    assert coarse == pytest.approx(fine, rel=0.005)


def test_strands_of_a_figure_of_eight_pass_over_one_another() -> None:
    lay = FigureOfEight(0.3, 0.25, 5, "stacked")
    curves = eight_paths(lay, FLAT, 400)
    centre = 0.5 * (curves[0] + curves[1])
    crossings = np.sort(centre[::200, 2])
    np.testing.assert_allclose(np.diff(crossings), FLAT.thickness, rtol=1e-9)
    lobes = np.sort(centre[100::400, 2])
    np.testing.assert_allclose(np.diff(lobes), FLAT.thickness, rtol=1e-9)
