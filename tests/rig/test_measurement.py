"""Reading and writing measurements: closed loop, another library's files, and every kind of bad line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from auralize.circuit import twoport
from auralize.circuit.cable import Dielectric, MeasuredCable, make_pair
from auralize.circuit.conductor import MATERIALS, Complex, Real, make_conductor
from auralize.circuit.loudspeaker import Driver, Vent
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.circuit.solution import solve
from auralize.errors import AuralizeError, MeasurementError
from auralize.rig.measured import (
    read_cable,
    read_impedance,
    write_impedance,
)
from auralize.rig.touchstone import read_touchstone, write_touchstone

BOX = Driver(5.6, 38.0, 4.2, 0.42, 0.5e-3, 0.02, 1.5, vent=Vent(45.0, 7.0))
FREQUENCY = 10.0 * 2.0 ** (np.arange(11 * 48 + 1) / 48.0)
PAIR = make_pair(
    make_conductor(2.5e-6, MATERIALS["copper"], None, 0.75, 20.0),
    3.2e-3,
    permittivity=3.5,
    loss_tangent=0.05,
)


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


# Closed loop.


@pytest.mark.parametrize("name", ["west.txt", "west.s1p", "west.S1P", "west.csv"])
def test_what_is_written_is_read_again(name: str, tmp_path: Path) -> None:
    z = BOX.impedance(FREQUENCY)
    write_impedance(tmp_path / name, FREQUENCY, z)
    found = read_impedance(tmp_path / name)
    np.testing.assert_array_equal(found.frequency, FREQUENCY)
    np.testing.assert_allclose(found.impedance, z, rtol=1e-12)


@pytest.mark.parametrize("name", ["west.txt", "west.s1p"])
def test_a_run_into_what_was_exported_is_a_run_into_the_load(name: str, tmp_path: Path) -> None:
    """Within 0.005 dB and 0.1 degree over 80 m, 20 Hz to 20 kHz."""
    write_impedance(tmp_path / name, FREQUENCY, BOX.impedance(FREQUENCY))
    f = np.geomspace(20.0, 20e3, 1001)
    results = []
    for load in (BOX, read_impedance(tmp_path / name).load()):
        network = Network(
            Amplifier(0.05), {"run": Run(PAIR, 80.0)}, {"load": Connected(load, "run")}
        )
        results.append(solve(network, f).receiving["load"])
    ratio = results[1] / results[0]
    assert np.abs(20.0 * np.log10(np.abs(ratio))).max() < 0.0005
    assert np.abs(np.angle(ratio, deg=True)).max() < 0.005


# Tables.

TABLES = {
    "commas": "20,8.1,30\n40,9.2,-20\n80,7.0,0\n160,6.5,5\n",
    "commas and spaces": "20, 8.1, 30\n40, 9.2, -20\n80, 7.0, 0\n160, 6.5, 5\n",
    "spaces": "  20   8.1  30\n  40 9.2 -20\n80 7.0 0\n160 6.5 5",
    "tabs": "20\t8.1\t30\r\n40\t9.2\t-20\r\n80\t7.0\t0\r\n160\t6.5\t5\r\n",
    "semicolons and decimal commas": "20;8,1;30\n40;9,2;-20,0\n80;7;0;\n160; 6,5; 5\n",
    "tabs and decimal commas": "20\t8,1\t30\n40\t9,2\t-20\n80\t7,0\t0\n160\t6,5\t5\n",
    "comments": (
        "* an analyser, 20 Hz to 20 kHz\n# one\n! two\n; three\n\nFreq(Hz) Z(Ohm) Phase(deg)\n"
        "20 8.1 30 ! at rest\n40 9.2 -20 # so\n\n80 7.0 0\n* between\n160 6.5 5\n\n"
    ),
    "exponents and a mark of the encoding": "\ufeff2.0e1,8.1,3E1\n40,9.2,-20\n80,7,0\n1.6e2,6.5,5\n",
}


@pytest.mark.parametrize("kind", TABLES)
def test_tables_as_programs_write_them(kind: str, tmp_path: Path) -> None:
    found = read_impedance(written(tmp_path, "west.zma", TABLES[kind]))
    np.testing.assert_array_equal(found.frequency, [20.0, 40.0, 80.0, 160.0])
    angle = np.radians([30.0, -20.0, 0.0, 5.0])
    expected = np.array([8.1, 9.2, 7.0, 6.5]) * np.exp(1j * angle)
    np.testing.assert_allclose(found.impedance, expected, rtol=1e-14)


GOOD = "# Hz ohm degrees\n20 8 30\n40 9 -20\n80 7 0\n160 6 5\n"
BAD_TABLES = {
    "a word": ("20 8 30", "20 eight 30", r"line 2: 'eight' was found where a number is right"),
    "an empty field": ("40 9 -20", "40,,-20", r"line 3: '' was found where a number"),
    "no phase": ("80 7 0", "80 7", r"line 4: 2 numbers were found; right are 3"),
    "a column too many": ("80 7 0", "80 7 0 1", r"line 4: 4 numbers were found; right are 3"),
    "decimal commas": ("80 7 0", "80,0 7,1 0,0", r"line 4: 6 numbers .* decimal point"),
    "falling": ("80 7 0", "30 7 0", r"line 4: 30 Hz follows 40 Hz; right is one frequency"),
    "twice": ("80 7 0", "40 7 0", r"line 4: 40 Hz follows 40 Hz"),
    "below 0 Hz": ("20 8 30", "-20 8 30", r"line 2: a frequency of -20 Hz cannot be"),
    "no modulus": ("80 7 0", "80 0 0", r"line 4: a modulus of zero or below"),
    "an active load": ("80 7 0", "80 7 91", r"line 4: a phase of 90 degrees or more"),
    "a pure coil": ("80 7 0", "80 7 -90", r"line 4: a phase of 90 degrees or more"),
    "no number": ("80 7 0", "80 nan 0", r"line 4: 'nan' was found where a finite number"),
    "text at the end": ("160 6 5", "160 6 5\nend", r"line 6: 'end' was found where a number"),
    "too few": (
        "\n80 7 0\n160 6 5",
        "",
        r"2 frequencies above 0 Hz were found; right is 4 or more",
    ),
    "kilohertz": ("# Hz ohm", "# Freq(kHz) ohm", r"line 1: .* 2e\+04 Hz to 1.6e\+05 Hz .* in Hz\?"),
    "radians": ("degrees", "phase(rad)", r"line 2: a phase of 30 radians cannot be.* degrees\?"),
    "words too few": (
        "Hz ohm degrees",
        "phase (rad)",
        r"line 1: .* names other columns than the 3",
    ),
}


@pytest.mark.parametrize("fault", BAD_TABLES)
def test_malformed_tables_are_refused_with_the_line(fault: str, tmp_path: Path) -> None:
    good, bad, message = BAD_TABLES[fault]
    assert good in GOOD
    path = written(tmp_path, "west.txt", GOOD.replace(good, bad))
    with pytest.raises(MeasurementError, match=message) as caught:
        read_impedance(path)
    assert str(caught.value).startswith(str(path))
    assert isinstance(caught.value, AuralizeError)


def test_files_that_are_no_text_are_refused(tmp_path: Path) -> None:
    with pytest.raises(MeasurementError, match="cannot be read: no such file"):
        read_impedance(tmp_path / "none.txt")
    (tmp_path / "binary.txt").write_bytes(b"20 8 0\n\0\0\0")
    with pytest.raises(MeasurementError, match="no plain text"):
        read_impedance(tmp_path / "binary.txt")
    (tmp_path / "old.txt").write_bytes(b"* Phase (\xb0)\n20 8 1\n30 8 1\n40 8 1\n50 8 1\n")
    assert len(read_impedance(tmp_path / "old.txt").frequency) == 4


# Touchstone, by hand and by another library.


def test_an_option_line_may_leave_out_what_is_usual(tmp_path: Path) -> None:
    """GHz, S, MA, R 50 are the defaults; case and order do not count; later option lines are ignored."""
    rows = "2e-8 0.5 90\n3e-8 0.25 0 ! comment\n\n4e-8 0 0\n5e-8 0.1 180\n"
    usual = read_touchstone(written(tmp_path, "a.s1p", f"! made by hand\n#\n{rows}"))
    np.testing.assert_allclose(usual.frequency, [20.0, 30.0, 40.0, 50.0], rtol=1e-15)
    assert (usual.parameter, usual.reference) == ("S", 50.0)
    np.testing.assert_allclose(usual.values[:, 0, 0], [0.5j, 0.25, 0.0, -0.1], atol=1e-16)
    # 50 (1 + S)/(1 - S), by hand.
    expected = [50.0 * (1 + 0.5j) / (1 - 0.5j), 50.0 * 5.0 / 3.0, 50.0, 50.0 * 0.9 / 1.1]
    np.testing.assert_allclose(usual.impedance(), expected, rtol=1e-14)
    other = read_touchstone(written(tmp_path, "b.S1P", f"# r 50 ma s gHz\n# HZ Z RI R 1\n{rows}"))
    np.testing.assert_array_equal(other.values, usual.values)


@pytest.mark.parametrize("ohms", [1e-3, 1e6])
def test_the_least_and_the_most_reference_are_read(ohms: float, tmp_path: Path) -> None:
    path = written(tmp_path, "a.s1p", ONE_PORT.replace("R 50", f"R {ohms}"))
    assert read_touchstone(path).reference == ohms


def test_z_and_y_are_relative_to_the_reference(tmp_path: Path) -> None:
    """The specification's own example: '# MHz Z MA R 75', 0.99 at -4 degrees is 74.25 ohm."""
    rows = "100 0.99 -4\n200 0.80 -22\n300 0.707 -45\n400 0.40 -62\n500 0.01 -89\n"
    z = read_touchstone(written(tmp_path, "z.s1p", f"# MHz Z MA R 75\n{rows}")).impedance()
    np.testing.assert_allclose(np.abs(z[:2]), [74.25, 60.0], rtol=1e-14)
    np.testing.assert_allclose(np.angle(z[:2], deg=True), [-4.0, -22.0], rtol=1e-12)
    y = read_touchstone(written(tmp_path, "y.s1p", f"# MHz Y MA R 75\n{rows}")).impedance()
    np.testing.assert_allclose(np.abs(y[:2]), [75.0 / 0.99, 75.0 / 0.80], rtol=1e-14)
    np.testing.assert_allclose(np.angle(y[:2], deg=True), [4.0, 22.0], rtol=1e-12)


def skrf_network(frequency: Real, scattering: Complex, unit: str, reference: float) -> object:
    skrf = pytest.importorskip("skrf", reason="scikit-rf, of the test extra, is not installed")
    points = skrf.Frequency.from_f(frequency, unit="hz")
    points.unit = unit
    return skrf.Network(frequency=points, s=scattering, z0=reference)


@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("unit", ["hz", "khz", "mhz", "ghz"])
@pytest.mark.parametrize("ports", [1, 2])
def test_files_of_scikit_rf_are_read_to_the_last_digits(
    form: str, unit: str, ports: int, tmp_path: Path
) -> None:
    rng = np.random.default_rng(7)
    shape = (40, ports, ports)
    s = 0.4 * (rng.uniform(-1, 1, shape) + 1j * rng.uniform(-1, 1, shape))
    frequency = np.geomspace(20.0, 20e3, 40)
    network = skrf_network(frequency, s, unit, 75.0)
    network.write_touchstone("there", dir=str(tmp_path), form=form)  # type: ignore[attr-defined]
    found = read_touchstone(tmp_path / f"there.s{ports}p")
    np.testing.assert_allclose(found.frequency, frequency, rtol=1e-12)
    assert found.reference == 75.0
    np.testing.assert_allclose(found.values, s, rtol=1e-12, atol=1e-15)
    if ports == 1:
        np.testing.assert_allclose(found.impedance(), network.z[:, 0, 0], rtol=1e-12)  # type: ignore[attr-defined]
    else:
        np.testing.assert_allclose(found.chain(), network.a, rtol=1e-12)  # type: ignore[attr-defined]


@pytest.mark.parametrize("ports", [1, 2])
def test_what_is_written_is_read_by_scikit_rf(ports: int, tmp_path: Path) -> None:
    skrf = pytest.importorskip("skrf", reason="scikit-rf, of the test extra, is not installed")
    rng = np.random.default_rng(8)
    s = 0.4 * (rng.uniform(-1, 1, (40, ports, ports)) + 1j * rng.uniform(-1, 1, (40, ports, ports)))
    frequency = np.geomspace(20.0, 20e3, 40)
    write_touchstone(tmp_path / f"here.s{ports}p", frequency, s)
    found = skrf.Network(str(tmp_path / f"here.s{ports}p"))
    np.testing.assert_allclose(found.s, s, rtol=1e-12)
    np.testing.assert_allclose(found.f, frequency, rtol=1e-12)
    assert (found.z0 == 50.0).all()


@pytest.mark.parametrize("parameter", ["Z", "Y"])
def test_a_two_port_s_chain_matrix_is_the_same_by_any_parameter(
    parameter: str, tmp_path: Path
) -> None:
    """Z and Y of a known chain matrix, written by hand: A = Z11/Z21, B = -1/Y21 and so on."""
    cable = MeasuredCable(14.8e-3, 0.65e-6, Dielectric(300e-12, 0.02))
    f = np.geomspace(1e4, 1e6, 9)
    chain = Run(cable, 30.0).two_port(f)
    a, b, c, d = (chain[:, i, j] for i in (0, 1) for j in (0, 1))
    one = np.ones_like(a)
    if parameter == "Z":
        columns = [a / c, one / c, one / c, d / c]
        scale = 1.0 / 75.0
    else:
        columns = [d / b, -one / b, -one / b, a / b]
        scale = 75.0
    rows = [
        " ".join(repr(float(x)) for x in (hz, *(p for v in row for p in (v.real, v.imag))))
        for hz, row in zip(f, np.stack(columns, axis=1) * scale, strict=True)
    ]
    text = f"# HZ {parameter} RI R 75\n" + "\n".join(rows)
    found = read_touchstone(written(tmp_path, "cable.s2p", text)).chain()
    # Where Z or Y are formed the far off-diagonal element is a small difference of large numbers.
    np.testing.assert_allclose(found, chain, rtol=1e-6)


@pytest.mark.parametrize("lowest", [1, 4])
def test_noise_parameters_are_passed_over(lowest: int, tmp_path: Path) -> None:
    """They begin at the last frequency or below."""
    row = "0.1 0 0.9 0 0.9 0 0.1 0"
    data = "".join(f"{f} {row}\n" for f in (1, 2, 3, 4))
    noise = f"{lowest} 2.0 0.3 10 0.2\n5 2.1 0.3 12 0.2\n"
    found = read_touchstone(written(tmp_path, "n.s2p", f"# HZ S MA R 50\n{data}{noise}"))
    np.testing.assert_array_equal(found.frequency, [1.0, 2.0, 3.0, 4.0])


DATA = "20 0.1 0.2\n30 0.1 0.1\n40 0.1 0\n50 0.1 -0.1\n"
ONE_PORT = f"! hand\n# HZ S RI R 50\n{DATA}"
BAD_ONE_PORTS = {
    "no option line": ("# HZ S RI R 50\n", "", r"line 2: the option line, .* before the data"),
    "version 2": ("# HZ", "[Version] 2.0\n# HZ", r"line 2: '\[Version\] 2.0' belongs to version 2"),
    "hybrid": ("S RI", "H RI", r"line 2: 'H' was found; right is a line like"),
    "no resistance": ("R 50", "R", r"line 2: right is one reference resistance"),
    "two resistances": ("R 50", "R 50 75", r"line 2: right is one reference resistance"),
    "a resistance of 0": ("R 50", "R 0", r"line 2: right is one reference resistance"),
    "a word": ("0.1 0.2", "0.1 x", r"line 3: 'x' was found where a number is right"),
    "too many": ("30 0.1 0.1", "30 0.1 0.1 1 1", r"line 4: 5 numbers .* right for .s1p are 3"),
    "falling": ("40 0.1 0", "25 0.1 0", r"line 5: 25 Hz follows 30 Hz"),
    "an open": ("40 0.1 0", "40 1 0", r"line 5: nothing flows here"),
    "a coil alone": ("40 0.1 0", "40 0 1", r"line 5: the real part of the impedance is not above"),
    "active": ("40 0.1 0", "40 1.2 0", r"line 5: the real part of the impedance is not above zero"),
    "no data": (DATA, "", r"0 frequencies above 0 Hz were found"),
    "nothing": (ONE_PORT, "", r"the option line, .* is missing"),
}


@pytest.mark.parametrize("fault", BAD_ONE_PORTS)
def test_malformed_touchstone_files_are_refused_with_the_line(fault: str, tmp_path: Path) -> None:
    good, bad, message = BAD_ONE_PORTS[fault]
    assert good in ONE_PORT
    path = written(tmp_path, "west.s1p", ONE_PORT.replace(good, bad, 1))
    with pytest.raises(MeasurementError, match=message) as caught:
        read_impedance(path)
    assert str(caught.value).startswith(str(path))


def test_ports_that_do_not_fit_are_refused(tmp_path: Path) -> None:
    two = written(
        tmp_path,
        "two.s2p",
        "# HZ S MA R 50\n" + "".join(f"{f} 0.1 0 0 0 0 0 0.1 0\n" for f in (1, 2, 3, 4)),
    )
    one = written(tmp_path, "one.s1p", ONE_PORT)
    four = written(tmp_path, "four.s4p", ONE_PORT)
    short = written(tmp_path, "short.s2p", "# HZ S MA R 50\n20 0.1 0 0.9 0\n")
    with pytest.raises(MeasurementError, match=r"line 2: 5 numbers .* right for .s2p are 9"):
        read_touchstone(short)
    with pytest.raises(MeasurementError, match="a load has one port"):
        read_impedance(two)
    with pytest.raises(MeasurementError, match="a cable has two ports"):
        read_cable(one, 10.0)
    with pytest.raises(MeasurementError, match=r"line 2: nothing comes through"):
        read_cable(two, 10.0)
    with pytest.raises(MeasurementError, match="length of the measured cable is missing"):
        read_cable(two)
    with pytest.raises(MeasurementError, match=r"one port .* or two ports"):
        read_touchstone(four)
    with pytest.raises(MeasurementError, match=r"ends in \.s2p"):
        write_touchstone(tmp_path / "x.s1p", np.ones(1), np.ones((1, 2, 2)))


# Cables.


def test_a_measured_two_port_is_the_cable_it_was_made_from(tmp_path: Path) -> None:
    """80 m of pair as scattering parameters at 50 ohm, read as a cable of 80 m and used for 25 m."""
    f = 20.0 * 2.0 ** (np.arange(10 * 12 + 1) / 12.0)
    chain = Run(PAIR, 80.0).two_port(f)
    a, b, c, d = (chain[:, i, j] for i in (0, 1) for j in (0, 1))
    whole = a + b / 50.0 + c * 50.0 + d
    s = np.empty((len(f), 2, 2), dtype=np.complex128)
    s[:, 0, 0] = (a + b / 50.0 - c * 50.0 - d) / whole
    s[:, 0, 1] = s[:, 1, 0] = 2.0 / whole
    s[:, 1, 1] = (-a + b / 50.0 - c * 50.0 + d) / whole
    write_touchstone(tmp_path / "pair.s2p", f, s)
    cable = read_cable(tmp_path / "pair.s2p", 80.0)
    inside = np.geomspace(20.0, 20e3, 301)
    assert np.abs(cable.series(inside) / PAIR.series(inside) - 1.0).max() < 3e-4
    assert cable.dielectric.capacitance == pytest.approx(
        PAIR.dielectric.capacitance, rel=1e-3, abs=0.0
    )
    assert cable.dielectric.loss_tangent == pytest.approx(0.05, rel=1e-2)
    results = [
        solve(
            Network(Amplifier(0.05), {"r": Run(x, 25.0)}, {"load": Connected(BOX, "r")}), inside
        ).receiving["load"]
        for x in (cable, PAIR)
    ]
    assert np.abs(20.0 * np.log10(np.abs(results[0] / results[1]))).max() < 0.001


CABLE = (
    "Hz, ohm/m, H/m, F/m\n20,0.0148,7e-7,6e-11\n200,0.0148,7e-7,6e-11\n"
    "2000,0.015,6.9e-7,6e-11\n20000,0.02,6.5e-7,6e-11\n"
)


def test_a_table_of_a_cable_is_read(tmp_path: Path) -> None:
    cable = read_cable(written(tmp_path, "reel.csv", CABLE))
    f = np.array([20.0, 2e3, 2e4])
    z = np.array([0.0148, 0.015, 0.02]) + 2j * np.pi * f * np.array([7e-7, 6.9e-7, 6.5e-7])
    np.testing.assert_allclose(cable.series(f), z, rtol=1e-12)
    np.testing.assert_allclose(cable.shunt(f).imag, 2.0 * np.pi * f * 6e-11, rtol=1e-9)
    with pytest.raises(MeasurementError, match="per metre; leave the length out"):
        read_cable(tmp_path / "reel.csv", 10.0)


@pytest.mark.parametrize(
    ("good", "bad", "message"),
    [
        ("200,0.0148", "200,0", r"line 3: a resistance of zero or below"),
        ("2000,0.015,6.9e-7", "2000,0.015,-1e-7", r"line 4: an inductance of zero or below"),
        ("20,0.0148,7e-7,6e-11", "20,0.0148,7e-7,-6e-11", r"line 2: a capacitance below zero"),
        ("20000,0.02,6.5e-7,6e-11", "20000,0.02,6.5e-7", r"line 5: 3 numbers .* right are 4"),
    ],
)
def test_malformed_tables_of_cables_are_refused(
    good: str, bad: str, message: str, tmp_path: Path
) -> None:
    assert good in CABLE
    path = written(tmp_path, "reel.csv", CABLE.replace(good, bad, 1))
    with pytest.raises(MeasurementError, match=message):
        read_cable(path)


def test_a_two_port_that_is_no_cable_is_refused(tmp_path: Path) -> None:
    """A series resistance below zero, and a line longer than a quarter of a wavelength."""
    f = np.array([20.0, 200.0, 2e3, 2e4])
    gain = twoport.series(np.full(4, -1.0 + 0j))
    a, b, c, d = (gain[:, i, j] for i in (0, 1) for j in (0, 1))
    whole = a + b / 50.0 + c * 50.0 + d
    s = np.empty((4, 2, 2), dtype=np.complex128)
    s[:, 0, 0] = s[:, 1, 1] = b / 50.0 / whole
    s[:, 0, 1] = s[:, 1, 0] = 2.0 / whole
    write_touchstone(tmp_path / "gain.s2p", f, s)
    with pytest.raises(MeasurementError, match=r"line 2: the resistance of the cable is not above"):
        read_cable(tmp_path / "gain.s2p", 10.0)
    write_touchstone(tmp_path / "long.s2p", f, -s)
    with pytest.raises(MeasurementError, match="longer than a quarter of a wavelength"):
        read_cable(tmp_path / "long.s2p", 10.0)
