"""The cheapest that keeps a requirement, against the divider's closed form, counted case by case."""

import numpy as np
import pytest

import auralize as au
from auralize.rig.stepped import SteppedValue
from auralize.sweep.cases import Cases
from auralize.sweep.cheapest import cheapest, check_prices, pick
from auralize.sweep.requirement import Requirement
from auralize.sweep.solving import solve_cases
from auralize.sweep.uncertain import UncertainValue

OHM = {"reel": 0.016, "bought": 0.010, "thick": 0.004}
PRICES = {"reel": 1.0, "bought": 2.5, "thick": 6.0}
RIG = au.read_rig(
    {
        "amplifier": {"resistance": "0 ohm"},
        "cables": {
            name: {"construction": "measured", "resistance": f"{ohm} ohm/m", "inductance": "1 nH/m"}
            for name, ohm in OHM.items()
        },
        "runs": {"pond": {"length": "62 m"}},
        "loads": {"stage": {"type": "resistor", "resistance": "8 ohm"}},
        "choices": {name: {"runs": {"pond": {"cable": name}}} for name in OHM},
    }
)
CHOICES = RIG.pick([])
LENGTHS = SteppedValue.of("runs.pond.length = 20 m, 62 m")
LOAD = UncertainValue.of("loads.stage.resistance = 8 ohm +- 50 %", lambda place: None)


def loss(name, metres, load=8.0):
    """Of the divider, at 20 kHz, where the cable's inductance makes the most of it."""
    return 20.0 * np.log10(np.abs(1.0 + (OHM[name] + 2j * np.pi * 20e3 * 1e-9) * metres / load))


def answer(cases, limit, *more):
    check_prices(RIG, CHOICES, cases, PRICES)
    found = solve_cases(RIG, CHOICES, cases, 0, len(cases))
    return cheapest(RIG, CHOICES, cases, found, [Requirement("loss", limit), *more], PRICES)


def test_the_cheapest_of_those_that_do():
    told = answer(Cases((LENGTHS,)), 0.7)  # only at 20 m does anything thinner
    assert told.in_most is None
    assert told.nominal.does
    priced = told.nominal.priced
    assert (priced.choice, priced.steps, priced.metres) == ("reel", ("20 m",), {"reel": 20.0})
    assert priced.cost == pytest.approx(20.0)
    assert priced.measured == pytest.approx((loss("reel", 20.0),))


def test_several_limits_are_kept_together():
    """The loss alone would be kept by bought, which is cheaper."""
    heat = OHM["thick"] * 62.0 / (8.0 + OHM["thick"] * 62.0)
    told = answer(Cases((), (LOAD,), 20), 0.7, Requirement("heat", heat * 1.001)).nominal
    assert told.does
    assert told.priced.choice == "thick"
    assert told.priced.measured == pytest.approx((loss("thick", 62.0), heat), rel=1e-6)
    none = answer(Cases((LENGTHS,)), 0.7, Requirement("damping", 1e5)).nominal
    assert (none.does, none.priced.choice, none.priced.steps) == (False, "thick", ("20 m",))


def test_the_cost_is_that_of_the_lengths_of_each_case():
    """Nominal 62 m; of 60 draws 57 are no longer than the 57th, which 95 % do not exceed."""
    length = UncertainValue.of("runs.pond.length = 62 m +- 5 m", lambda place: None)
    cases = Cases((), (length,), 60)
    told = answer(cases, 1.2)
    drawn = np.sort(cases.numbers(0, 60)[length.place])[56]
    assert (told.nominal.priced.choice, told.in_most.priced.choice) == ("reel", "reel")
    assert told.nominal.priced.metres == {"reel": pytest.approx(62.0)}
    assert told.nominal.priced.cost == pytest.approx(62.0 * PRICES["reel"])
    assert told.in_most.priced.metres == {"reel": pytest.approx(drawn)}
    assert told.in_most.priced.cost == pytest.approx(drawn * PRICES["reel"])


def test_the_cost_is_that_of_the_cable_of_each_case():
    """The rig's own cable, but in the draws a dearer one as often."""
    cable = UncertainValue.of("runs.pond.cable = thick, reel", lambda place: None)
    told = answer(Cases((), (cable,), 40), 2.0)
    assert told.in_most.priced.metres == {"thick": 62.0, "reel": 62.0}  # each in over 5 %
    assert told.in_most.priced.cost == pytest.approx(62.0 * PRICES["thick"])


def test_nominal_and_in_most_cases_differ():
    """Counted over the draws themselves, at 62 m."""
    cases = Cases((), (LOAD,), 60)
    limit = 0.7  # bought: 0.65 dB nominal, but not at a load of 6 ohm
    told = answer(cases, limit)
    assert (told.nominal.priced.choice, told.nominal.does) == ("bought", True)
    loads = np.array(cases.numbers(0, 60)[LOAD.place])
    keeps = loss("bought", 62.0, loads) <= limit
    assert told.nominal.priced.share == keeps.mean() < 0.95
    assert told.in_most.does
    most = told.in_most.priced
    assert (most.choice, most.cost, most.share) == ("thick", pytest.approx(6.0 * 62.0), 1.0)
    assert most.measured == pytest.approx((np.sort(loss("thick", 62.0, loads))[56],))


def test_what_meets_a_limit_exactly_keeps_it():
    """The loss that 19 of 20 draws do not exceed, as the limit itself."""
    cases = Cases((), (LOAD,), 20)
    limit = answer(cases, 0.7).in_most.priced.measured[0]
    told = answer(cases, limit).in_most
    assert (told.does, told.priced.choice, told.priced.share) == (True, "thick", 0.95)


@pytest.mark.parametrize("steps", [(), (LENGTHS,)])
def test_a_tolerance_round_another_value_than_the_rigs_is_nominal_at_its_own(steps):
    load = UncertainValue.of("loads.stage.resistance = 4 ohm +- 10 %", lambda place: None)
    told = answer(Cases(steps, (load,), 20), 1.5).nominal.priced
    metres = 20.0 if steps else 62.0
    assert told.measured == pytest.approx((loss(told.choice, metres, 4.0),))


def test_where_none_does_the_nearest_is_told():
    told = answer(Cases((LENGTHS,), (LOAD,), 20), 0.01)
    for picked in (told.nominal, told.in_most):
        assert not picked.does
        assert (picked.priced.choice, picked.priced.steps) == ("thick", ("20 m",))
    assert told.nominal.priced.measured == pytest.approx((loss("thick", 20.0),))


@pytest.mark.parametrize(
    ("prices", "said"),
    [
        ({"reel": 1.0, "bought": 1.0}, "cable 'thick' has none; right is one for each of reel"),
        ({**PRICES, "thik": 1.0}, "'thik' .*thick.*right is one of"),
        ({**PRICES, "reel": -1.0}, r"-1 of reel was found; right is 0 to 1e\+09 a metre"),
    ],
)
def test_prices_that_are_amiss_are_refused(prices, said):
    with pytest.raises(au.RequestError, match=said):
        check_prices(RIG, CHOICES, Cases((LENGTHS,)), prices)


@pytest.mark.parametrize("price", [0.0, 1e9])
def test_the_least_and_the_most_price_are_taken(price):
    check_prices(RIG, CHOICES, Cases((LENGTHS,)), {**PRICES, "reel": price})


def test_a_cable_of_some_cases_is_not_had_for_nothing():
    cable = UncertainValue.of("runs.pond.cable = thick, reel", lambda place: None)
    cases = Cases((), (cable,), 10)
    found = solve_cases(RIG, CHOICES, cases, 0, len(cases))
    with pytest.raises(au.RequestError, match="cable 'thick' has none"):
        cheapest(RIG, CHOICES, cases, found, [Requirement("loss", 2.0)], {"reel": 1.0})


def test_a_cable_that_comes_in_by_a_step_or_a_draw_needs_a_price():
    prices = {"reel": 1.0, "bought": 2.5}
    for steps, tolerances in (
        ((SteppedValue.of("runs.pond.cable = reel, thick"),), ()),
        ((), (UncertainValue.of("runs.pond.cable = reel, thick", lambda place: None),)),
    ):
        with pytest.raises(au.RequestError, match="cable 'thick' has none"):
            check_prices(RIG, CHOICES[:1], Cases(steps, tolerances), prices)


def test_of_the_same_cost_the_better_is_picked():
    cost, values = np.array([3.0, 1.0, 1.0, 2.0]), np.array([0.1, 0.9, 0.5, 0.2])
    assert pick(cost, values, 1.0) == (2, True)
    assert pick(cost, values, 0.2) == (3, True)
    assert pick(cost, values, 0.05) == (0, False)
    assert pick(cost, np.full(4, 2.0), 1.0) == (1, False)
    assert pick(cost, np.array([np.inf, np.inf, 5.0, np.inf]), 1.0) == (2, False)
