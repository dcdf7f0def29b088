"""A tree of 200 runs over 2 000 frequencies: work grows with its size, and equal cables are solved once.

    python tests/benchmarks/test_tree.py

prints the seconds that it takes here; the aim is under 1 s.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
import pytest

from auralize.circuit.cable import Dielectric, make_pair
from auralize.circuit.conductor import MATERIALS, Complex, Real, make_conductor
from auralize.circuit.loudspeaker import Driver
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.circuit.solution import solve

FREQUENCY = np.geomspace(20.0, 20e3, 2000)
PAIR = make_pair(
    make_conductor(2.5e-6, MATERIALS["copper"], None, 0.75, 20.0),
    3.2e-3,
    permittivity=3.5,
    loss_tangent=0.05,
)
DRIVER = Driver(5.6, 38.0, 4.2, 0.42, 0.5e-3, 0.02, 1.5)


def comb(runs: int) -> Network:
    """A trunk with a spur to a loudspeaker at each of its joints."""
    parts: dict[str, Run] = {}
    for k in range(runs // 2):
        parts[f"trunk {k}"] = Run(PAIR, 4.0 + 0.01 * k, f"trunk {k - 1}" if k else None)
        parts[f"spur {k}"] = Run(PAIR, 2.0 + 0.01 * k, f"trunk {k}")
    loads = {f"box {k}": Connected(DRIVER, f"spur {k}") for k in range(runs // 2)}
    return Network(Amplifier(0.05), parts, loads)


def seconds(runs: int) -> float:
    """The fastest of five solutions."""
    network, taken = comb(runs), []
    for _ in range(5):
        start = time.perf_counter()
        solve(network, FREQUENCY)
        taken.append(time.perf_counter() - start)
    return min(taken)


@pytest.mark.bench
def test_time_grows_with_the_number_of_runs() -> None:
    """Four times the runs take some four times as long, not sixteen times."""
    solve(comb(2), FREQUENCY)  # the field of the pair is solved once for all
    assert seconds(200) / seconds(50) < 10.0


@pytest.mark.bench
def test_a_long_chain_keeps_its_digits() -> None:
    """200 joints in a row are as good as one run: no overflow, no loss beyond rounding."""
    length = 0.05
    chain = {f"{k}": Run(PAIR, length, f"{k - 1}" if k else None) for k in range(200)}
    load = {"box": Connected(DRIVER, "199")}
    whole = Network(Amplifier(0.05), {"199": Run(PAIR, 200 * length)}, load)
    found = solve(Network(Amplifier(0.05), chain, load), FREQUENCY).receiving["box"]
    np.testing.assert_allclose(found, solve(whole, FREQUENCY).receiving["box"], rtol=1e-11)


@dataclass
class Counted:
    """A cable that counts how often it is asked."""

    asked: int = 0

    def series(self, frequency: Real) -> Complex:
        self.asked += 1
        return PAIR.series(frequency)

    def shunt(self, frequency: Real) -> Complex:
        return Dielectric(60e-12).admittance(frequency)

    __hash__ = object.__hash__


@pytest.mark.bench
def test_one_cable_in_many_runs_is_asked_once() -> None:
    cable = Counted()
    runs = {f"{k}": Run(cable, 5.0 + k) for k in range(20)}
    loads = {name: Connected(DRIVER, name) for name in runs}
    solve(Network(Amplifier(0.05), runs, loads), FREQUENCY)
    assert cable.asked == 1


if __name__ == "__main__":
    solve(comb(2), FREQUENCY)
    print(f"200 runs, 100 loudspeakers, {len(FREQUENCY)} frequencies: {seconds(200):.2f} s")
