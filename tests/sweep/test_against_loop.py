"""Cases solved together are what `figures` and `curves` say of each by itself, read anew from its values."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from auralize.errors import RigError
from auralize.figures.curves import curves
from auralize.figures.fit import Kind, _measures, shown
from auralize.figures.numbers import figures
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig, load_rig, read_rig
from auralize.rig.varied import Values, VariedChoice, tables_of
from auralize.sweep import solving
from auralize.sweep.asked import AskedSweep
from auralize.sweep.cases import Cases
from auralize.sweep.solving import solve_all, solve_cases, solve_nominal
from support.command import RIG

ROOT = Path(__file__).parents[2]
AT = np.array([0.0, 31.5, 20e3])
LENGTH = ("runs", "pond", "length")
CLOSE = 1e-9
"""Relative: what the order of sums, and of rounding in library functions over long arrays, may change."""

SWEEPS = {
    "everything of a plain run": (
        "audio_demo/saltmarsh.toml",
        AskedSweep(
            steps=("amplifier.damping_factor = 50, 400",),
            tolerances=(
                "runs.pond.length = 62 m +- 5 m",
                "runs.pond.temperature = 0 degC to 45 degC",
                "loads.stage.Re = +- 10 % as 2 sigma",
                "runs.pond.near.minus = 0 mohm to 40 mohm",
                "amplifier.inductance = 0 uH to 4 uH",
            ),
            draws=2,
        ),
    ),
    "cables, sizes and lays": (
        "audio_demo/saltmarsh.toml",
        AskedSweep(
            steps=(
                "runs.pond.cable = reel, bought, beams",
                "cables.bought.lay_length = 60 mm, 90 mm",
                "cables.reel.conductor = 2.5 mm2, 4 mm2",
            ),
        ),
    ),
    "a line with transformers": (
        "audio_demo/path.toml",
        AskedSweep(
            steps=("listen = lawn, bench", "transformers.step-up.insertion_loss = 0.4 dB, 1 dB"),
            tolerances=(
                "programme.voltage = 5 V to 20 V",
                "runs.path.length = +- 10 %",
                "loads.lawn.drivers.woofer.Re = +- 10 %",
            ),
            draws=1,
        ),
    ),
    "a line of twenty": (
        "audio_demo/boathouse.toml",
        AskedSweep(
            steps=("loads.lamp.count = 3, 4",), tolerances=("loads.lamp.Re = +- 10 %",), draws=2
        ),
    ),
    "a band": (
        "tests/front/recipes/subwoofers.toml",
        AskedSweep(
            steps=("loads.subwoofers.band = 30 Hz to 120 Hz, 40 Hz to 120 Hz",),
            tolerances=("loads.subwoofers.contact = 1 mohm to 20 mohm",),
            draws=2,
        ),
    ),
    "coils": (
        "audio_demo/lay.toml",
        AskedSweep(tolerances=("runs.pond.lay.coiled = 11 m to 13 m",), draws=2),
    ),
    "loads of many kinds, a programme, a fault": (
        None,
        AskedSweep(
            steps=(
                "loads.sluice.resistance = 4 ohm, 8 ohm",
                "loads.gate.type = resistor, open, short",
                "programme.voltage = 10 V, 20 V",
                "loads.sluice.reversed = true, false",
            ),
        ),
    ),
}
DRIVEN = """
programme = { voltage = "12 V" }
listen = "sluice"
loads.gate = { type = "resistor", resistance = "16 ohm" }
"""


def rig_of(name: str | None) -> Rig:
    if name is not None:
        return load_rig(ROOT / name)
    data = tomllib.loads(RIG)
    more = tomllib.loads(DRIVEN)
    data["loads"] |= more.pop("loads")
    data["amplifier"]["resistance"] = "50 mohm"
    return read_rig(data | more)


def by_itself(rig: Rig, choice: Choice, cases: Cases, number: int) -> dict[str, object]:
    values = {place: some[0] for place, some in cases.values(number, number + 1).items()}
    case = rig.changed(choice, {(): tables_of(values)})
    found = figures(case, ())
    drawn = curves(case, frequency=np.array([found.reference_hz, *AT]))
    driven = found.driven
    kept = np.nan if driven is None else sum(run.watts for run in driven.runs.values())
    judged = by_fit(case)
    np.testing.assert_allclose(shown(judged["damping"], "damping"), found.damping_factor, CLOSE)
    np.testing.assert_allclose(judged["heat"], found.cable_share, CLOSE)
    return {
        "reference_hz": found.reference_hz,
        "loss_db": found.loss_db,
        "drop_db": drawn.drop_db[0],
        "deviation_db": found.deviation_db,
        "deviation_hz": found.deviation_hz,
        "worst_loss_db": -judged["loss"],
        "worst_loss_hz": _measures([case], "loss", None)[0].worst(case.network),
        "worst_deviation_db": judged["deviation"],
        "damping_factor": found.damping_factor,
        "damping_hz": found.damping_hz,
        "cable_share": found.cable_share,
        "cable_watts": kept,
        "loss_curve_db": drawn.loss_db[1:],
        "drop_curve_db": drawn.drop_db[1:],
    }


def by_fit(case: Choice) -> dict[str, float]:
    """What `fit` holds against its limit."""
    return {kind: _measures([case], kind, None)[0](case.network) for kind in get_args(Kind)}


@pytest.mark.parametrize(("name", "asked"), SWEEPS.values(), ids=SWEEPS)
def test_together_is_as_one_by_one(name: str | None, asked: AskedSweep) -> None:
    rig = rig_of(name)
    choices = list(rig.choices.values())
    choices = choices[-2:] if name and "lay.toml" in name else choices[:2]
    cases = asked.cases(rig, choices)
    found = solve_cases(rig, choices, cases, 0, len(cases), AT)
    for choice, together in zip(choices, found, strict=True):
        assert len(together) == len(cases)
        for number in range(0, len(cases), max(len(cases) // 5, 1)):
            for field, right in by_itself(rig, choice, cases, number).items():
                np.testing.assert_allclose(
                    getattr(together, field)[number], right, rtol=CLOSE, atol=0.0, err_msg=field
                )


def test_a_case_that_cannot_be_is_told() -> None:
    rig = rig_of("audio_demo/saltmarsh.toml")
    choices = [rig["reel"]]
    for asked, told in (
        (
            AskedSweep(steps=("runs.pond.length = 20 m, 20 km",)),
            "case 2, with runs.pond.length = '20 km'",
        ),
        (AskedSweep(tolerances=("runs.pond.temperature = 150 degC +- 90 degC",)), "case "),
    ):
        with pytest.raises(RigError, match=f"it was asked for in {told}"):
            solve_all(rig, choices, asked.cases(rig, choices))


def test_the_nominal_case_is_the_rig_with_nominal_values() -> None:
    rig = rig_of("audio_demo/saltmarsh.toml")
    asked = AskedSweep(tolerances=("runs.pond.length = 40 m +- 1 m", "loads.stage.Re = +- 10 %"))
    (found,) = solve_nominal(rig, [rig["reel"]], asked.cases(rig, [rig["reel"]]))
    right = figures(rig.changed(rig["reel"], {LENGTH: "40 m"}))
    assert found.loss_db == pytest.approx([right.loss_db], rel=CLOSE)


def test_parts_of_all_cases_are_as_all_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    rig = rig_of("audio_demo/saltmarsh.toml")
    choices, asked = [rig["reel"]], AskedSweep(tolerances=("loads.stage.Re = +- 10 %",), draws=7)
    cases = asked.cases(rig, choices)
    (whole,) = solve_all(rig, choices, cases)
    monkeypatch.setattr(solving, "CHUNK", 3)
    (parts,) = solve_all(rig, choices, cases)
    assert parts.loss_db.tolist() == whole.loss_db.tolist()


@pytest.mark.parametrize(
    ("name", "choice", "key", "values"),
    [
        ("saltmarsh", "reel", "cables.bell.conductor", ("0.75 mm2", "1 m2")),
        ("saltmarsh", "reel", "loads.stage.reversed", (True, 1)),
        ("saltmarsh", "reel", "cables.reel.spacing", ("4 mm", "5 mm", "1 mm")),
        ("saltmarsh", "reel", "amplifier.resistance", ("1 ohm", "0 ohm")),
        ("saltmarsh", "bought", "runs.pond.cable", ("reel", "bought", "bell")),
        ("path", "sound", "loads.lawn.at", ("lawn", "amplifier")),
        ("path", "sound", "runs.path.from", ("step-up", "amplifier")),
        ("path", "sound", "programme.crest_factor", (4, 6, 1)),
        ("lay", "plus-inside", "runs.pond.lay.turns", (20, 32)),
        ("lay", "plus-inside", "runs.pond.lay.coiled", ("20 m", "30 m")),
    ],
)
def test_a_varied_choice_is_the_changed_one(
    name: str, choice: str, key: str, values: tuple[object, ...]
) -> None:
    """Part by part as a whole, in what a value does to its own table and to others; refusals too."""
    rig = rig_of(f"audio_demo/{name}.toml")
    place = tuple(key.split("."))
    varied = VariedChoice(rig, rig[choice], [place])
    for value in (*values, values[0]):
        whole = outcome(lambda said: rig.changed(rig[choice], said), {place: value})
        assert outcome(varied.at, {place: value}) == whole


def outcome(read: Callable[[Values], Choice], values: Values) -> object:
    """What a choice is with these values, or the refusal."""
    try:
        return read(values).content
    except RigError as error:
        return str(error)
