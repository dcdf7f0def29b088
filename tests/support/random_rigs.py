"""Cables, loads and networks drawn at random, the same ones each time."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from auralize.circuit.cable import Cable, Dielectric, MeasuredCable, PairCable, make_pair
from auralize.circuit.conductor import MATERIALS, Complex, Real, make_conductor
from auralize.circuit.loudspeaker import Load
from auralize.circuit.network import Amplifier, Connected, Network, Run

lawful = settings(
    derandomize=True,
    database=None,
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow],
)
FREQUENCY = np.array([0.0, 1.0, 20.0, 55.0, 300.0, 1e3, 4e3, 10e3, 20e3, 48e3, 100e3])
ROUNDING = 1e-11
"""Relative; what a few dozen double-precision operations may leave."""


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False)


conductors = st.builds(
    make_conductor,
    between(0.5e-6, 10e-6),
    st.sampled_from(list(MATERIALS.values())),
    st.none(),
    between(0.7, 1.0),
    between(-30.0, 80.0),
)


@st.composite
def pair_cables(draw: st.DrawFn) -> PairCable:
    conductor = draw(conductors)
    spacing = 2.0 * conductor.radius * draw(between(1.1, 10.0))
    return make_pair(
        conductor,
        spacing,
        permittivity=draw(between(1.0, 5.0)),
        loss_tangent=draw(st.just(0.0) | between(1e-4, 0.1)),
        lay_length=draw(st.none() | between(20.0 * spacing, 60.0 * spacing)),
    )


measured_cables = st.builds(
    MeasuredCable,
    between(1e-3, 0.1),
    between(0.3e-6, 1.5e-6),
    st.builds(Dielectric, between(0.0, 300e-12), between(0.0, 0.1)),
)
cables: st.SearchStrategy[Cable] = pair_cables() | measured_cables
lengths = between(0.5, 300.0)


def single(amplifier: Amplifier, run: Run, load: Load) -> Network:
    return Network(amplifier, {"run": run}, {"load": Connected(load, "run")})


def close(found: Complex, expected: Complex, rel: float = ROUNDING) -> None:
    np.testing.assert_allclose(found, expected, rtol=rel, atol=0.0)


# An independent solution: node voltages, with every run as the exponential of its own equations.


def chain_matrices(run: Run, frequency: Real) -> Complex:
    """d(V, I)/dx = -(Z' I, Y' V), from the far end back to the near one."""
    z, y = run.cable.series(frequency), run.cable.shunt(frequency)
    system = np.zeros((len(frequency), 2, 2), dtype=np.complex128)
    system[:, 0, 1], system[:, 1, 0] = z * run.length, y * run.length
    return np.asarray(expm(system))


AUDIO = FREQUENCY[FREQUENCY <= 20e3]
