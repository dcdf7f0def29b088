"""What a slider goes through: values of the rig file, read and refused as the rig file's own are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from auralize.errors import RequestError, RigError
from auralize.handover.steps import nearest
from auralize.rig.reading import load_rig
from auralize.rig.stepped import MOST_STEPS, SteppedValue
from support.command import RIG


@pytest.mark.parametrize(
    ("text", "place", "values", "words"),
    [
        (
            "runs.path.length = 20 m, 65' 6\", 40 m",
            ("runs", "path", "length"),
            ("20 m", "65' 6\"", "40 m"),
            "length of the path run",
        ),
        (
            "runs.path.length = 20 m to 40.5 m in 3",
            ("runs", "path", "length"),
            ("20 m", "30.25 m", "40.5 m"),
            "length of the path run",
        ),
        (
            "amplifier.damping_factor = 400 to 20 in 5",
            ("amplifier", "damping_factor"),
            (400, 305, 210, 115, 20),
            "damping factor of the amplifier",
        ),
        (
            'cables."old reel".conductor="14 AWG","2.5 mm2"',
            ("cables", "old reel", "conductor"),
            ("14 AWG", "2.5 mm2"),
            "conductor of the old reel cable",
        ),
        (
            "amplifier.damping_factor = 20, 1e3",
            ("amplifier", "damping_factor"),
            (20, 1e3),
            "damping factor of the amplifier",
        ),
        (
            "loads.sluice.reversed = false, true",
            ("loads", "sluice", "reversed"),
            (False, True),
            "plus and minus swapped at the sluice loudspeaker",
        ),
    ],
)
def test_a_key_and_its_values_are_read_as_toml_has_them(
    text: str, place: tuple[str, ...], values: tuple[object, ...], words: str
) -> None:
    steps = SteppedValue.of(text)
    assert (steps.place, steps.values, steps.words) == (place, values, words)


@pytest.mark.parametrize("ends", ["20 m to 70 ft", "20 m to 1e400 m", "-1e308 m to 1e308 m"])
def test_a_range_has_two_ends_in_one_unit(ends: str) -> None:
    with pytest.raises(RequestError, match=r"^steps: .* right is one unit for both ends"):
        SteppedValue.of(f"runs.path.length = {ends} in 3")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "20 m, 30 m",
        "runs.path.length",
        "runs.path.length =",
        "runs.path.length = 20 m",
        "runs.path.length = 20 m,, 30 m",
        "runs.path.length = 20 m, 20 m",
        "= 20 m, 30 m",
        "runs.path.length = 20 m to 30 m in 1",
        f"runs.path.length = 20 m to 30 m in {MOST_STEPS + 1}",
        "runs..length = 20 m, 30 m",
        "runs path = 20 m, 30 m",
        "a = 1\nb = 20 m, 30 m",
        f"runs.path.length = {', '.join(f'{n + 1} m' for n in range(MOST_STEPS + 1))}",
    ],
)
def test_what_is_no_list_of_steps_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match=r"^steps: .*right (is|are) "):
        SteppedValue.of(text)


def test_every_choice_takes_every_step(tmp_path: Path) -> None:
    (tmp_path / "sluice.toml").write_text(RIG)
    rig = load_rig(tmp_path / "sluice.toml")
    every = list(rig.choices.values())
    for step, metres in zip(
        SteppedValue.of("runs.path.length = 50 m, 100 m").choices(rig, every),
        (50.0, 100.0),
        strict=True,
    ):
        assert [choice.name for choice in step] == ["thin", "thick"]
        assert {choice.network.runs["path"].length for choice in step} == {metres}
    for text, right in (
        ("runs.pth.length = 20 m, 30 m", "did you mean 'path'"),
        ("runs.path.length = 20 m, 30 ohm", "length"),
        ("runs.path.lenght = 20 m, 30 m", "did you mean 'length'"),
    ):
        with pytest.raises(RigError, match=right):
            SteppedValue.of(text).choices(rig, every)


def test_the_nearest_step_is_that_of_the_least_difference() -> None:
    base = [np.array([0.0, 0.9, 0.1])]
    steps = [[np.array([0.0, share])] for share in (0.5, 0.8, 0.95, 1.2)]
    assert nearest(base, steps) == 2
    assert nearest(base, [*steps, base]) == 4
