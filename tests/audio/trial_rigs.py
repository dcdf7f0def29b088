"""Networks from mild to extreme, for filters and renderer: 20 to 300 m, 0.5 to 10 mm2, 2 to 16 ohm."""

from auralize.circuit.cable import make_pair
from auralize.circuit.conductor import MATERIALS, make_conductor
from auralize.circuit.loudspeaker import Driver, Load, Resistor
from auralize.circuit.network import Amplifier, Connected, Network, Run


def one_run(area: float, spacing: float, length: float, load: Load) -> Network:
    """``area`` in mm2, ``spacing`` in diameters, ``length`` in m; the load is called "load"."""
    conductor = make_conductor(area * 1e-6, MATERIALS["copper"], None, 1.0, 20.0)
    cable = make_pair(
        conductor, spacing * 2 * conductor.radius, permittivity=3.0, loss_tangent=0.05
    )
    run = Run(cable, length)
    return Network(Amplifier(0.02, 1.5e-6), {"run": run}, {"load": Connected(load, "run")})


CAUSAL = {
    "20 m of 10 mm2, 16 ohm": one_run(10, 1.3, 20, Resistor(16)),
    "62 m of 2.5 mm2, 8 ohm": one_run(2.5, 1.5, 62, Resistor(8)),
    "300 m of 0.5 mm2, 2 ohm": one_run(0.5, 1.5, 300, Resistor(2)),
    "300 m of 10 mm2 apart, 2 ohm": one_run(10, 20, 300, Resistor(2)),
    "62 m of 2.5 mm2, driver": one_run(2.5, 1.5, 62, Driver(5.6, 38, 4.2, 0.42, 0.35e-3)),
    "300 m of 0.5 mm2, low driver": one_run(0.5, 1.5, 300, Driver(1.6, 30, 8, 0.3, 0.35e-3)),
    "20 m of 10 mm2, 16 ohm driver": one_run(10, 1.2, 20, Driver(12, 60, 6, 0.8, 1e-3)),
    "300 m of 0.5 mm2, high Q": one_run(0.5, 2, 300, Driver(12, 25, 12, 0.2, 1e-3)),
}
SEMI_INDUCTIVE = {
    "62 m of 2.5 mm2, semi-inductance": one_run(
        2.5, 1.5, 62, Driver(5.6, 38, 4.2, 0.42, 0.1e-3, 0.02)
    ),
    "200 m of 1 mm2, semi-inductance": one_run(
        1, 1.5, 200, Driver(3.2, 45, 4.2, 0.42, 0.05e-3, 0.03)
    ),
}
