"""`fit` against brute force: the rig file written anew for each length and size, and its figures read."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.solution import solve
from auralize.errors import AuralizeError
from auralize.figures.fit import Fit, fit
from auralize.figures.numbers import figures
from auralize.rig.choice import Choice
from auralize.rig.loads import parse_band
from auralize.rig.reading import load_rig

RIG = """
{top}
[amplifier]
resistance = "40 mohm"
inductance = "1 uH"
[cables.cores]
construction = "{construction}"
conductor = "{size}"
spacing = "3.7 mm"
{cable}
[runs.sluice]
cable = "cores"
length = "{length!r} m"
{run}
{lay}
[loads.hatch]
type = "driver"
nominal = "8 ohm"
Re = "5.6 ohm"
Le = "0.35 mH"
fs = "38 Hz"
Qms = 4.2
Qes = 0.42
{load}
"""
PLAIN = {
    "top": "", "construction": "single cores", "size": "2.5 mm2", "cable": "", "length": 40.0, "run": "",
    "lay": "", "load": "",
}  # fmt: skip
COIL = '[runs.sluice.lay]\nshape = "split coils"\nmean_diameter = "16 cm"\n{}\ndistance = "60 cm"'
LOOP = '[runs.sluice.lay]\nshape = "coiled"\nmean_diameter = "30 cm"\n{}'
REEL = '[runs.sluice.lay]\nshape = "coiled"\nbarrel = "20 cm"\nwidth = "16 cm"\nfacing = "aligned"'
TWIST = {"construction": "twisted pair", "cable": 'lay_length = "70 mm"'}
CASES = {
    "straight": {},
    "a length coiled, each by itself": {"lay": COIL.format('coiled = "4 m"')},
    "turns, each by itself": {"lay": COIL.format("turns = 6")},
    "twisted and coiled": {**TWIST, "lay": LOOP.format('coiled = "9 m"')},
    "twisted": TWIST,
    "a twin on its reel": {"construction": "twin", "lay": REEL},
    "a reel that takes a part": {"construction": "twin", "lay": REEL + '\ncoiled = "15 m"'},
    "joints": {"run": 'near = "50 mohm"'},
}
WOUND = {
    "a length coiled, each by itself": 4.0,
    "turns, each by itself": 6 * math.pi * 0.16,
    "twisted and coiled": 9.0,
    "a reel that takes a part": 15.0,
}
SIZES = ("0.5", "0.75", "1", "1.5", "2.5", "4", "6", "10", "16")

Judge = Callable[[Choice], float]


def written(folder: Path, **more: object) -> Path:
    path = folder / "sluice.toml"
    path.write_text(RIG.format(**{**PLAIN, **more}), encoding="utf-8")
    return path


def only(path: Path) -> Choice:
    (choice,) = load_rig(path).choices.values()
    return choice


# ---- how bad a rig is, with other code than that of fit ---------------------------------------------


def worst_loss(low: float, high: float) -> Judge:
    at = tuple(np.geomspace(low, high, 801))
    return lambda choice: -min(line.loss_db for line in figures(choice, at).lines)


def worst_deviation(low: float, high: float, reference: float) -> Judge:
    at = (reference, *np.geomspace(low, high, 801))

    def judge(choice: Choice) -> float:
        first, *others = (line.loss_db for line in figures(choice, at).lines)
        return max(abs(loss - first) for loss in others)

    return judge


def least_damping(low: float, high: float) -> Judge:
    """As 1 over it, so that less is better."""
    at = np.linspace(low, high, 400) if high > low else np.array([low])
    return lambda choice: max(1.0 / line.damping for line in figures(choice, tuple(at)).lines)


def pink_heat(low: float, high: float) -> Judge:
    """What is lost between the amplifier's terminals and the loudspeaker of equally many tones an octave."""
    at = np.geomspace(low, high, 1500)

    def judge(choice: Choice) -> float:
        solved = solve(choice.network, at)
        given = (solved.sending * solved.sent_current.conj()).real.sum()
        (load,) = choice.network.loads
        return float(
            1.0 - (solved.receiving[load] * solved.current[load].conj()).real.sum() / given
        )

    return judge


KINDS: dict[str, tuple[str, float, str | None, Judge]] = {
    "loss": ("loss", 0.9, None, worst_loss(20.0, 20e3)),
    "loss in a band": ("loss", 0.5, "30 Hz to 120 Hz", worst_loss(30.0, 120.0)),
    "deviation": ("deviation", 1.5, None, worst_deviation(20.0, 20e3, 1000.0)),
    "deviation in a band": (
        "deviation", 0.4, "30 Hz to 120 Hz", worst_deviation(30.0, 120.0, 63.0),
    ),
    "damping": ("damping", 18.0, None, least_damping(0.0, 0.0)),
    "damping in a band": ("damping", 15.0, "30 Hz to 120 Hz", least_damping(30.0, 120.0)),
    "heat": ("heat", 0.08, None, pink_heat(20.0, 20e3)),
    "heat in a band": ("heat", 0.05, "30 Hz to 120 Hz", pink_heat(30.0, 120.0)),
}  # fmt: skip


def fitted(path: Path, kind: str, tolerance: float, band: str | None, **more: str) -> Fit:
    rig = load_rig(path)
    (choice,) = rig.choices.values()
    asked = None if band is None else parse_band(band)
    return fit(rig, choice, None, kind, tolerance, band=asked, **more)  # type: ignore[arg-type]


def longest(folder: Path, judge: Judge, most: float, case: dict[str, str]) -> float | None:
    """By steps of 25 % up from 0.1 m, then halving; None where the first that the rig takes is too long."""

    def good(length: float) -> bool | None:
        try:
            return judge(only(written(folder, **case, length=length))) <= most
        except AuralizeError:
            return None

    last = None
    for length in 0.1 * 1.25 ** np.arange(41):
        found = good(float(length))
        if found is None:
            continue
        if not found:
            break
        last = float(length)
    else:
        raise AssertionError("no length is too long: a tighter tolerance is needed")
    if last is None:
        return None
    low, high = last, last * 1.25
    while high - low > 1e-4 * low:
        middle = (low + high) / 2.0
        low, high = (middle, high) if good(middle) else (low, middle)
    return low


@pytest.mark.parametrize(
    ("case", "kind"),
    dict.fromkeys(
        [
            *((case, kind) for case in CASES for kind in ("loss", "damping in a band")),
            *(("straight", kind) for kind in KINDS),
            ("turns, each by itself", "deviation in a band"),
            *(("twisted and coiled", kind) for kind in ("deviation", "heat in a band")),
        ]
    ),
)
def test_the_longest_is_that_of_brute_force(case: str, kind: str, tmp_path: Path) -> None:
    """Within 4e-4: both halve to 1e-4, and look for the worst on frequencies of their own."""
    name, tolerance, band, judge = KINDS[kind]
    most = 1.0 / tolerance if name == "damping" else tolerance
    found = fitted(written(tmp_path, **CASES[case]), name, tolerance, band)
    wanted = longest(tmp_path, judge, most, CASES[case])
    if wanted is None:
        assert found.longest is None
        assert found.no_length
        return
    assert found.longest == pytest.approx(wanted, rel=4e-4)
    assert found.longest >= WOUND.get(case, 0.0) * (1.0 - 1e-9)
    if case in WOUND:
        assert found.shortest == pytest.approx(WOUND[case], rel=1e-9)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("case", ["a length coiled, each by itself", "twisted"])
def test_the_thinnest_is_that_of_brute_force(case: str, kind: str, tmp_path: Path) -> None:
    name, tolerance, band, judge = KINDS[kind]
    most = 1.0 / tolerance if name == "damping" else tolerance
    wanted = None
    for size in SIZES:
        try:
            choice = only(written(tmp_path, **CASES[case], size=f"{size} mm2"))
        except AuralizeError:  # no room at that spacing
            continue
        if judge(choice) <= most:
            wanted = f"{size} mm2"
            break
    found = fitted(written(tmp_path, **CASES[case]), name, tolerance, band).metric
    assert found is not None
    assert found.thinnest == wanted
    assert bool(found.why) == (wanted is None)


# ---- a cable over all its runs ----------------------------------------------------------------------

SPUR = """
[runs.spur]
cable = "cores"
length = "25 m"
from = "sluice"
[runs.shed]
cable = "cores"
length = "50 m"
[loads.shed]
type = "resistor"
resistance = "16 ohm"
at = "shed"
"""


@pytest.mark.parametrize("kind", KINDS)
def test_a_cable_is_sized_over_all_runs_that_use_it(kind: str, tmp_path: Path) -> None:
    """Two runs behind each other and one beside them, all of that size in the file."""
    name, tolerance, band, judge = KINDS[kind]
    most = 1.0 / tolerance if name == "damping" else tolerance
    case = {"top": 'listen = "hatch"', "load": 'at = "spur"\n' + SPUR, "length": 15.0}
    if name == "heat":
        judge = all_heat(*(parse_band(band) if band else (20.0, 20e3)))
    wanted = next(
        (s for s in SIZES if judge(only(written(tmp_path, **case, size=f"{s} mm2"))) <= most), None
    )
    found = fitted(written(tmp_path, **case), name, tolerance, band, cable="cores")
    assert found.metric is not None
    assert found.metric.thinnest == (None if wanted is None else f"{wanted} mm2")
    assert (found.runs, found.length) == (("sluice", "spur", "shed"), 90.0)
    assert (found.shortest, found.longest) == (None, None)


def all_heat(low: float, high: float) -> Judge:
    """The same for several loudspeakers."""
    at = np.geomspace(low, high, 1500)

    def judge(choice: Choice) -> float:
        solved = solve(choice.network, at)
        given = (solved.sending * solved.sent_current.conj()).real.sum()
        arrived = sum(
            (v * solved.current[n].conj()).real.sum() for n, v in solved.receiving.items()
        )
        return float(1.0 - arrived / given)

    return judge
