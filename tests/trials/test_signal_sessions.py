"""Sessions held on a test signal: logged by its words and fingerprint, and gone on with on no other."""

import re
from dataclasses import replace

import pytest

from auralize.audio.stimulus import Noise, Sine
from auralize.live.sources import SignalFeed
from auralize.trials.compared import check_programme
from auralize.trials.plan import TrialError
from support.sessions import plan

PINK = SignalFeed(Noise("pink"))


def on(feed):
    return replace(plan(trials=2), programme=feed.name, programme_sha256=feed.fingerprint())


def test_a_session_on_a_signal_goes_on_with_the_same_signal():
    check_programme(on(PINK), SignalFeed(Noise("pink", -20.0)))


@pytest.mark.parametrize("other", [Noise("pink", -21.0), Noise("white"), Sine(440.0)])
def test_and_with_no_other(other):
    told = re.escape("that session was held on another programme: pink noise, -20 dBFS rms")
    with pytest.raises(TrialError, match=told):
        check_programme(on(PINK), SignalFeed(other))
