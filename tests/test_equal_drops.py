"""Drops made equally loud, each by a gain of its own: what must hold of any levels whatever."""

import math
from collections import defaultdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from auralize.audio.metering import Level
from auralize.circuit.solution import ACROSS
from auralize.gains import (
    CEILING,
    MOST_MAKEUP,
    SOURCE,
    End,
    balance,
    equal_makeups,
    equally_loud,
    step,
)
from auralize.units import amplitude, decibels

ROUNDING = 1e-9
"""dB: sums of a few figures under 200 in double precision."""
loudnesses = st.floats(-110.0, 3.0)
crests = st.floats(3.0, 40.0)
levels = st.builds(lambda lufs, crest: Level(lufs, amplitude(lufs + crest)), loudnesses, crests)
SILENCE = Level(-math.inf, 0.0)
gains = st.floats(-6.0, 30.0)
drops = st.lists(st.tuples(levels | st.just(SILENCE), gains), min_size=1, max_size=12)


@given(st.floats(-60.0, 0.0), drops)
def test_all_are_equally_loud_up_to_the_source_under_the_ceiling_and_within_the_most(source, drops):
    found = equal_makeups(source, drops)
    audible = [
        (level.loudness + match + makeup, decibels(level.peak) + match + makeup, makeup)
        for (level, match), makeup in zip(drops, found, strict=True)
        if level is not SILENCE
    ]
    for loudness, peak, makeup in audible:
        assert loudness == pytest.approx(audible[0][0], abs=ROUNDING)
        assert loudness <= source + ROUNDING
        assert peak <= CEILING + ROUNDING
        assert makeup <= MOST_MAKEUP + ROUNDING
    if audible:  # nothing is given away: one of the three is reached
        slack = min(
            min(source - loudness, CEILING - peak, MOST_MAKEUP - makeup)
            for loudness, peak, makeup in audible
        )
        assert slack == pytest.approx(0.0, abs=ROUNDING)
    for (level, _), makeup in zip(drops, found, strict=True):
        if level is SILENCE:
            assert makeup == 0.0


@given(st.floats(-60.0, 0.0), drops, st.floats(-20.0, 20.0))
def test_a_match_makes_no_difference_to_how_loud_they_end(source, drops, more):
    """The same drops as loud with any match, as long as no figure is at its most."""
    found = equal_makeups(source, drops)
    shifted = equal_makeups(source, [(level, gain + more) for level, gain in drops])
    free = all(
        makeup < MOST_MAKEUP - abs(more) for makeup in (*found, *shifted)
    )  # the most is of make-up alone
    if free:
        for (level, _), before, after in zip(drops, found, shifted, strict=True):
            if level is not SILENCE:
                assert after + more == pytest.approx(before, abs=ROUNDING)


@given(st.lists(st.tuples(loudnesses, st.floats(0.0, 40.0)), min_size=1), loudnesses)
def test_the_rule_that_trials_share(heard, target):
    loudness, most = zip(*heard, strict=True)
    found = equally_loud(loudness, most, target)
    ends = [level + gain for level, gain in zip(loudness, found, strict=True)]
    assert max(ends) - min(ends) <= ROUNDING
    assert all(gain <= limit + ROUNDING for gain, limit in zip(found, most, strict=True))
    turned_down = equally_loud(loudness, [0.0] * len(loudness))
    assert max(turned_down) == 0.0  # to the softest, which stays


@given(st.dictionaries(st.sampled_from("abcdef"), st.tuples(levels, levels, levels), min_size=1))
def test_over_each_conductor_as_over_both_and_headroom_is_one(found):
    compared = {SOURCE: Level(-20.0, amplitude(-3.0))}
    for name, dropped in found.items():
        compared |= {End("drop", name, n): one for n, one in zip(ACROSS, dropped, strict=True)}
        compared[End("receiving", name)] = Level(-21.0, amplitude(-4.0))
    given_makeup = 12.0  # of no matter here
    gains = balance(-20.0, compared, dict.fromkeys(found, 1.0), given_makeup, drops="equal")
    ends = defaultdict(list)
    for heard, gain in gains.items():
        if heard != SOURCE and heard.signal == "drop":
            ends[heard.across].append(compared[heard].loudness + gain.total)
        else:
            assert gain.makeup == 0.0
    assert set(ends) == set(ACROSS)
    for loudness in ends.values():
        assert max(loudness) - min(loudness) <= ROUNDING
    assert len({gain.headroom for gain in gains.values()}) == 1


def test_by_hand():
    """-40 and -60 LUFS to a source of -20: +20 and +40 dB, 40 dB being the most there is."""
    loud, soft = Level(-40.0, amplitude(-30.0)), Level(-60.0, amplitude(-45.0))
    assert equal_makeups(-20.0, [(loud, 0.0), (soft, 0.0)]) == pytest.approx([20.0, 40.0])
    # 3 dB softer it cannot get there: all end at -23.
    softer = Level(-63.0, amplitude(-48.0))
    assert equal_makeups(-20.0, [(loud, 0.0), (softer, 0.0)]) == pytest.approx([17.0, 40.0])
    # A peak 25 dB over its loudness: at -1 dBTP it is at -26, and all are.
    spiky = Level(-60.0, amplitude(-35.0))
    assert equal_makeups(-20.0, [(loud, 0.0), (spiky, 0.0)]) == pytest.approx([14.0, 34.0])
    # Louder than the source: down.
    assert equal_makeups(-20.0, [(Level(-12.0, amplitude(-8.0)), 0.0)]) == pytest.approx([-8.0])
    assert equal_makeups(-20.0, [(SILENCE, 2.0), (loud, 0.0)]) == pytest.approx([0.0, 20.0])
    # A source without a loudness: as far as peaks and the most allow.
    assert equal_makeups(-math.inf, [(loud, 0.0)]) == pytest.approx([29.0])
    assert equal_makeups(-20.0, []) == []


def test_steps():
    assert step(-40.0, -17.0) == 23.0
    assert step(-math.inf, -17.0) == math.inf
    assert step(-17.0, -math.inf) == -math.inf
    assert step(-math.inf, -math.inf) == 0.0
