"""Which value matters most, against closed forms of a divider."""

import numpy as np
import pytest

import auralize as au
from auralize.rig.stepped import SteppedValue
from auralize.sweep import solving
from auralize.sweep.alone import each_alone, swing
from auralize.sweep.cases import Cases
from auralize.sweep.cheapest import _settled
from auralize.sweep.solving import CHUNK
from auralize.sweep.uncertain import UncertainValue

RIG = au.read_rig(
    {
        "amplifier": {"resistance": "40 mohm"},
        "cables": {
            "reel": {"construction": "measured", "resistance": "16 mohm/m", "inductance": "1 nH/m"}
        },
        "runs": {"pond": {"length": "60 m", "cable": "reel"}},
        "loads": {"stage": {"type": "resistor", "resistance": "8 ohm"}},
    }
)


def uncertain(text):
    return UncertainValue.of(text, lambda place: None)


def test_each_moves_alone_over_its_range_with_the_others_nominal():
    """The length has its nominal value from its tolerance, the load from the rig, where it is stepped."""
    cases = Cases(
        (SteppedValue.of("loads.stage.resistance = 4 ohm, 8 ohm, 16 ohm, 32 ohm"),),
        (
            uncertain("runs.pond.length = 50 m +- 4 m as 2 sigma"),
            uncertain("cables.reel.resistance = 10 mohm/m to 20 mohm/m"),
            uncertain("amplifier.resistance = 20 mohm, 80 mohm"),
        ),
        5,
    )
    found = each_alone(RIG, RIG.pick([]), cases)
    assert [one.words for one in found] == [
        "resistance of the stage loudspeaker",
        "length of the pond run",
        "resistance of the reel cable",
        "resistance of the amplifier",
    ]
    assert [one.range_words for one in found] == [
        "4 ohm, 8 ohm ... 32 ohm",
        "46 to 54 m (+-2 sigma)",
        "10 to 20 mohm/m",
        "20 mohm, 80 mohm",
    ]

    def loss(per_metre, metres, load):
        return -20.0 * np.log10(1.0 + per_metre * metres / load)

    wanted = [
        loss(0.016, 50.0, np.array([4.0, 8.0, 16.0, 32.0])),
        loss(0.016, np.linspace(46.0, 54.0, 11), 8.0),
        loss(np.linspace(0.010, 0.020, 11), 50.0, 8.0),
        np.full(2, loss(0.016, 50.0, 8.0)),
    ]
    for one, values in zip(found, wanted, strict=True):
        np.testing.assert_allclose(one.figures[0].loss_db, values, rtol=1e-6)
        assert swing(one.figures[0].loss_db) == pytest.approx(np.ptp(values), rel=1e-5, abs=1e-12)


def test_the_swing_of_what_is_silent_or_endless_throughout_is_none():
    assert swing(np.array([-np.inf, -np.inf])) == 0.0
    assert swing(np.array([-np.inf, -3.0])) == np.inf
    assert swing(np.array([2.0, 5.0, 1.0])) == 4.0


@pytest.mark.parametrize("asked", ["alone", "cheapest"])
def test_no_more_than_a_chunk_of_steps_is_solved_at_a_time(monkeypatch, asked):
    """Memory goes with the cases solved together: 0.2 MB each for a plain run."""
    together, solve = [], solving.solve_together
    monkeypatch.setattr(
        solving,
        "solve_together",
        lambda some, *rest: together.append(len(some)) or solve(some, *rest),
    )
    count = 2 * CHUNK + 3
    cases = Cases((SteppedValue.of(f"runs.pond.length = 1 m to {count} m in {count}", count),))
    if asked == "alone":
        found = each_alone(RIG, RIG.pick([]), cases)[0].figures[0]
    else:
        found = _settled(RIG, RIG.pick([]), cases)[0]
    assert max(together) <= CHUNK
    metres = np.arange(1, count + 1)
    # From the amplifier's terminals; the cable's least inductance turns the phase, and adds next to nothing.
    assert found.loss_db == pytest.approx(-20.0 * np.log10(1.0 + 0.016 * metres / 8.0), rel=1e-5)
