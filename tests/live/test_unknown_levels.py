"""Before levels are known nothing is played louder than it may be once they are."""

import math

import numpy as np
import pytest

from auralize.gains import CEILING, SOURCE, End
from auralize.live.known import Known
from auralize.live.player import Voice
from auralize.live.rise import DEEPEST, rise_for
from auralize.live.sounding import Sound
from auralize.live.wanted import Wanted
from auralize.rig.reading import load_rig
from auralize.units import amplitude
from support.bench_app import DEMO

RATE = 48_000


@pytest.fixture(scope="module")
def choices():
    return dict(load_rig(DEMO).choices)


@pytest.mark.parametrize("makeup", [0.0, 12.0, 40.0])
def test_a_make_up_that_was_given_passes_no_ceiling_before_levels_are_known(choices, makeup):
    wanted = Wanted(dict(choices))
    wanted.makeup = makeup
    known = Known(wanted, RATE)
    assert known.certainty == "unknown"
    peaks = []
    for name in choices:
        heard = End("drop", name)
        taps = known.fir(heard).taps
        worst = np.sign(taps[::-1])  # at full scale, each sample of the sign that adds up
        peak = np.convolve(worst, taps)[len(taps) - 1]
        gains = known.gains_of(heard)
        assert gains.makeup == makeup
        assert gains.headroom == known.gains_of(SOURCE).headroom  # no choice gets an advantage
        peaks.append(peak * amplitude(gains.total))
    assert max(peaks) <= amplitude(CEILING) * (1.0 + 1e-9)
    if makeup == 40.0:
        assert max(peaks) == pytest.approx(amplitude(CEILING), rel=1e-9)  # and gives away no more


def test_without_a_make_up_nothing_is_taken_down(choices):
    known = Known(Wanted(dict(choices)), RATE)
    assert known.gains_of(SOURCE).total == known.gains_of(End("drop", "reel")).total == 0.0


@pytest.mark.parametrize(("before", "after"), [(None, None), (-60.0, None), (None, -10.0)])
def test_another_programme_comes_up_slowly_where_a_loudness_is_not_known(before, after):
    voice = Voice(np.ones(1), 1.0)
    elsewhere = Sound(voice, -1, before, elsewhere=True)
    assert rise_for(Sound(voice, 1, after).step_from(elsewhere)) == DEEPEST
    here = Sound(voice, 0, before)
    assert rise_for(Sound(voice, 1, after).step_from(here)) == 0.0
    assert math.isinf(Sound(voice, 1, after).step_from(elsewhere))
