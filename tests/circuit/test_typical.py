"""Loudspeakers known by kind alone: passive, of their nominal impedance, each different from the others.

IEC 60268-5: the lowest impedance in the rated frequency range is 80 % of the rated one or more (value
from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from auralize.circuit.loudspeaker import Resistor, Several
from auralize.circuit.typical import CORNERS, KINDS, USUAL, Typical, Variant, varied

F = np.geomspace(10.0, 30e3, 1001)
ALL = (USUAL, *CORNERS)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("nominal", [4.0, 8.0, 1667.0])
def test_the_lowest_impedance_is_by_the_standard(kind: str, nominal: float) -> None:
    """On a grid of its own: a minimum between the points that were looked at is less than 0.1 % lower."""
    low, high = KINDS[kind].band
    f = np.geomspace(low, high, 2003)
    for variant in ALL:
        lowest = np.abs(Typical(kind, nominal, variant).impedance(f)).min() / nominal
        assert 0.8 * 0.999 <= lowest <= 1.25
    assert np.abs(Typical(kind, nominal).impedance(f)).min() < 1.001 * nominal


@pytest.mark.parametrize("kind", KINDS)
def test_each_is_passive_and_known_at_dc(kind: str) -> None:
    for variant in ALL:
        load = Typical(kind, 8.0, variant)
        assert (load.impedance(F).real > 0.0).all()
        assert np.isfinite(load.admittance(np.zeros(1))).all()


def test_nominal_scales_all_of_it() -> None:
    for kind in KINDS:
        ratio = Typical(kind, 4.0).impedance(F) / Typical(kind, 16.0).impedance(F)
        assert ratio == pytest.approx(np.full(F.shape, 0.25), rel=1e-12)


def test_no_kind_is_another() -> None:
    """By 2 ohm of 8 somewhere, at least."""
    found = [Typical(kind, 8.0).impedance(F) for kind in KINDS]
    for i, one in enumerate(found):
        for other in found[:i]:
            assert np.abs(one - other).max() > 2.0


@pytest.mark.parametrize("kind", ["small two-way", "large two-way", "three-way"])
def test_a_voice_coil_is_no_more_than_the_lowest_impedance_by_much(kind: str) -> None:
    """At DC the woofer's coil and its choke are left: near the lowest impedance (common practice)."""
    at_dc = Typical(kind, 8.0).impedance(np.zeros(1))[0].real
    assert 0.6 * 8.0 < at_dc < 1.05 * 8.0


@pytest.mark.parametrize(("kind", "count"), [("subwoofer", 2), ("column", 1), ("three-way", 1)])
def test_the_peaks_of_the_boxes(kind: str, count: int) -> None:
    """Vented: two; closed: one; three ways in a closed box: the woofer's. Below 400 Hz."""
    z = np.abs(Typical(kind, 8.0).impedance(F[F < 400.0]))
    assert ((z[1:-1] > z[:-2]) & (z[1:-1] > z[2:])).sum() == count


def test_what_varies_moves_what_it_says() -> None:
    def peak(variant: Variant) -> float:
        return float(
            F[np.abs(Typical("column", 8.0, variant).impedance(F)[: F.size // 2]).argmax()]
        )

    assert peak(Variant(resonance=1)) / peak(Variant(resonance=-1)) == pytest.approx(
        1.25 / 0.8, rel=0.02
    )
    top = [abs(Typical("column", 8.0, Variant(inductance=i)).impedance(F)[-1]) for i in (-1, 0, 1)]
    assert top == sorted(top)
    assert top[2] > 1.5 * top[0]


def test_what_is_known_does_not_vary() -> None:
    several = Several(Typical("column", 8.0), 2, 1)
    assert varied(several, CORNERS[0]) == Several(Typical("column", 8.0, CORNERS[0]), 2, 1)
    assert varied(Resistor(8.0), CORNERS[0]) == Resistor(8.0)
