"""What varies: steps and tolerances as they are read, and the cases that are made of them."""

from __future__ import annotations

import numpy as np
import pytest

from auralize.errors import RequestError
from auralize.rig.stepped import SteppedValue
from auralize.sweep.cases import Cases
from auralize.sweep.uncertain import UncertainValue

LENGTH, HEAT, COIL = (
    ("runs", "pond", "length"),
    ("runs", "pond", "temperature"),
    ("loads", "stage", "Re"),
)


def uncertain(text: str) -> UncertainValue:
    return UncertainValue.of(text, lambda place: "5.6 ohm")


@pytest.mark.parametrize(
    ("text", "law", "unit", "middle", "half", "nominal"),
    [
        ("runs.pond.length = 62 m +- 50 cm", "uniform", "m", 62.0, 0.5, "62.0 m"),
        (
            "runs.pond.length = 200 ft +- 2 m as 2 sigma",
            "normal",
            "ft",
            200.0,
            1.0 / 0.3048,
            "200.0 ft",
        ),
        ("runs.pond.length = 60 m to 64 m", "uniform", "m", 62.0, 2.0, None),
        (
            "runs.pond.temperature = 20 degC \u00b1 27 degF",
            "uniform",
            "degC",
            20.0,
            15.0,
            "20.0 degC",
        ),
        ("loads.stage.Re = +- 10 %", "uniform", "ohm", 5.6, 0.56, "5.6 ohm"),
        ("loads.stage.Re = +/- 10% as 2 sigma", "normal", "ohm", 5.6, 0.28, "5.6 ohm"),
        ("loads.stage.Qms = 4 +- 1", "uniform", "", 4.0, 1.0, 4.0),
        ("runs.pond.near.plus = 5 mohm +- 0.002 ohm", "uniform", "mohm", 5.0, 2.0, "5.0 mohm"),
    ],
)
def test_a_tolerance_is_read(
    text: str, law: str, unit: str, middle: float, half: float, nominal: object
) -> None:
    found = uncertain(text)
    assert (found.law, found.unit, found.nominal) == (law, unit, nominal)
    assert (found.middle, found.half) == pytest.approx((middle, half), rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "runs.pond.length",
        "runs.pond.length = 62 m",
        "runs.pond.length = 62 m +- 0 m",
        "runs.pond.length = 62 m +- 2",
        "runs.pond.length = 62 m +- 1e400 m",
        "runs.pond.length = 1 m to 1e400 m",
        "runs.pond.length = 62 m +- 2 m as 0 sigma",
        "runs.pond.length = 62 m +- 2 m as 1e400 sigma",
        "runs.pond.length = 62 m +- 1e300 m as 1e-300 sigma",
        "runs.pond.length = 62 m +- 2 ohm",
        "runs.pond.length = 64 m to 60 m",
        "runs.pond.length = 60 m to 70 ft",
        "runs.pond.length = 62 m +- 2 m +- 3 m",
        "runs.pond.length = 62 m as 2 sigma",
        "runs.pond.length = 60 m,, 62 m",
        "cables.reel.conductor = 14 AWG +- 10 %",
        "loads.stage.Re = ten +- 10 %",
        "runs.pond.temperature = 20 degC +- 5 %",
    ],
)
def test_what_is_no_tolerance_is_refused(text: str) -> None:
    with pytest.raises(
        RequestError, match=r"^tolerance: .*right is |^tolerance: .*is written like"
    ):
        uncertain(text)


def test_draws_follow_their_law() -> None:
    """Mean and standard deviation of the laws, within five standard errors."""
    many = 4000
    for text, mean, deviation in (
        ("runs.pond.length = 60 m to 64 m", 62.0, 4.0 / np.sqrt(12.0)),
        ("runs.pond.length = 62 m +- 2 m as 2 sigma", 62.0, 1.0),
        ("loads.stage.Qms = 1, 3", 2.0, 1.0),
    ):
        one = uncertain(text)
        drawn = np.array(Cases((), (one,), many, seed=5).numbers(0, many)[one.place])
        assert abs(drawn.mean() - mean) < 5.0 * deviation / np.sqrt(many)
        assert drawn.std() == pytest.approx(deviation, rel=5.0 / np.sqrt(many))


def test_a_draw_depends_on_nothing_but_seed_place_and_number() -> None:
    length, heat = (
        uncertain("runs.pond.length = 60 m to 64 m"),
        uncertain("runs.pond.temperature = 0 degC to 40 degC"),
    )
    steps = SteppedValue.of("amplifier.damping_factor = 20, 50, 100")
    whole = Cases((steps,), (length, heat), 40).numbers(0, 120)
    parts = [Cases((steps,), (length, heat), 70).numbers(at, at + 8) for at in range(0, 120, 8)]
    for place, column in whole.items():
        assert column == [value for part in parts for value in part[place]]
    assert whole[HEAT][::3] == Cases((), (heat,), 40).numbers(0, 40)[HEAT]
    assert whole[HEAT] != Cases((steps,), (length, heat), 40, seed=2).numbers(0, 120)[HEAT]


def test_steps_are_all_combined() -> None:
    cases = Cases(
        (
            SteppedValue.of("amplifier.damping_factor = 20, 50"),
            SteppedValue.of("runs.pond.length = 9 m, 8 m, 7 m"),
        )
    )
    found = cases.values(0, len(cases))
    assert list(zip(*found.values(), strict=True)) == [
        (factor, length) for factor in (20, 50) for length in ("9 m", "8 m", "7 m")
    ]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("10 m to 80 m in 4", ("10 m", "33.33 m", "56.67 m", "80 m")),
        ("100 m to 100.01 m in 3", ("100 m", "100.005 m", "100.01 m")),
        ("0 to 50000 in 4", ("0", "16670", "33330", "50000")),
        ("12.3456 m, 20 m", ("12.3456 m", "20 m")),
    ],
)
def test_steps_of_a_range_are_shown_in_short_and_taken_exactly(
    text: str, shown: tuple[str, ...]
) -> None:
    found = SteppedValue.of(f"runs.pond.length = {text}")
    assert found.shown == shown
    taken = [float(str(value).removesuffix(" m")) for value in found.values]
    even = np.linspace(taken[0], taken[-1], len(taken))
    np.testing.assert_allclose(taken, even, rtol=1e-11)  # of 12 digits


@pytest.mark.parametrize(
    ("steps", "tolerance", "drawn"),
    [
        ((), (), 5),
        (("runs.pond.length = 1 m, 2 m",), ("runs.pond.length = 1 m to 2 m",), 5),
        (("runs.pond.lay.turns = 3, 4",), ("runs.pond.lay.coiled = 1 m to 2 m",), 5),
        (("runs.pond.near = 1 mohm, 2 mohm",), ("runs.pond.near.plus = 1 mohm to 2 mohm",), 5),
        ((), ("runs.pond.length = 1 m to 2 m",), 0),
        ((), ("runs.pond.length = 1 m to 2 m",), 1_000_001),
    ],
)
def test_what_does_not_go_together_is_refused(
    steps: tuple[str, ...], tolerance: tuple[str, ...], drawn: int
) -> None:
    with pytest.raises(RequestError, match=r"right (is|are) "):
        Cases(tuple(map(SteppedValue.of, steps)), tuple(map(uncertain, tolerance)), drawn)
