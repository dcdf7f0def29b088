"""Gains and matched levels, against a render and a second meter."""

import math

import numpy as np
import pyloudnorm
import pytest
import soundfile as sf

from auralize.audio.band_loudness import BandMeter
from auralize.audio.metering import Level
from auralize.circuit.solution import solve
from auralize.gains import INSTALLED, LOUDNESS, MOST_MAKEUP, SOURCE, End, Match, balance, level_gain
from auralize.live.limiter import LIMITER_CEILING
from auralize.live.measurer import predicted
from auralize.renderer.files import RenderOptions, render
from auralize.units import amplitude, decibels
from support.pumped import BLOCK, RATE, Pumped, settled, write


@pytest.fixture(scope="module")
def shared(programme, saltmarsh):
    """A measured listening for those who change nothing but match and make-up, and set them first."""
    shared = Pumped(programme, saltmarsh)
    shared.measured()
    yield shared
    shared.close()


@pytest.mark.parametrize("match", [INSTALLED, LOUDNESS, Match.at(3150.0)])
@pytest.mark.parametrize("makeup", [None, 6.0])
def test_gains_are_those_of_a_render(shared, programme, saltmarsh, tmp_path, match, makeup):
    """But for headroom, as a render knows only what it was asked to write."""
    wishes = RenderOptions(match=match, makeup=makeup)
    rendered = render(programme, list(saltmarsh.values()), tmp_path, wishes)
    shared.listening.set_match(match)
    shared.listening.set_makeup(makeup)
    for output in rendered.outputs:
        gains = shared.listening.gains(End(output.signal, output.choice))
        assert gains.match == pytest.approx(output.gains.match, abs=1e-6)
        assert gains.makeup == output.gains.makeup
        assert gains.headroom <= output.gains.headroom + 1e-6


def test_headroom_is_one_for_all_and_keeps_the_loudest_under_the_ceiling(shared):
    shared.listening.set_match(INSTALLED)
    shared.listening.set_makeup(38.0)
    gains = shared.listening._known.gains
    assert len(gains) == 1 + 3 * 3
    assert len({g.headroom for g in gains.values()}) == 1
    levels = shared.listening._known.levels
    peaks = [
        levels[h.choice].drop.peak * 0.5 * h.conductors * amplitude(g.total)
        for h, g in gains.items()
        if h != SOURCE and h.signal == "drop"
    ]
    assert max(peaks) == pytest.approx(LIMITER_CEILING)
    assert gains[SOURCE].headroom < -1.0


def test_make_up_is_held_between_0_and_its_cap(shared):
    for asked, given in ((99.0, MOST_MAKEUP), (-5.0, 0.0), (12.5, 12.5)):
        shared.listening.set_makeup(asked)
        assert shared.listening.gains(End("drop", "reel")).makeup == given
    shared.listening.set_makeup(None)
    assert shared.listening.gains(End("drop", "reel", 1)).makeup >= 5.0


def test_over_one_conductor_the_chosen_make_up_is_6_db_more(shared):
    shared.listening.set_match(INSTALLED)
    shared.listening.set_makeup(None)
    both, one = (shared.listening.gains(End("drop", "reel", n)).makeup for n in (2, 1))
    assert one - both in (6.0, 7.0)  # 6.02 dB, in whole dB


def test_choices_matched_in_loudness_are_within_0_05_lu(measured, programme):
    """Heard to its end and measured by another meter (pyloudnorm 0.2, ITU-R BS.1770)."""
    meter = pyloudnorm.Meter(RATE)
    listening = measured.listening
    listening.set_match(LOUDNESS)
    measured.pump(60)  # the soft start is over
    found = {}
    for heard in (SOURCE, *(End("receiving", name) for name in listening.wanted.choices)):
        listening.transport.seek(0)
        settled(listening.transport)
        measured.hear(heard)
        listening.transport.play()
        out = measured.pump(3 * RATE // BLOCK + 2)
        assert listening.transport.ended
        found[heard] = meter.integrated_loudness(out.astype(float))
    assert max(found.values()) - min(found.values()) < 0.05
    assert math.isfinite(found[SOURCE])
    source, _ = sf.read(programme)
    assert found[SOURCE] == pytest.approx(meter.integrated_loudness(source) - 20.0, abs=0.01)


def test_a_prediction_is_as_near_to_the_measurement_as_band_energies_say(
    programme, saltmarsh, shared
):
    samples, _ = sf.read(programme)
    meter = BandMeter(RATE, 2)
    meter.add(samples)
    source = shared.listening._known.source.level
    for name, choice in saltmarsh.items():
        guess = predicted(choice, meter.energies, source)
        known = shared.listening._known.levels[name]
        assert guess.receiving.loudness == pytest.approx(known.receiving.loudness, abs=0.05)
        # A tone between two bands through a slope of 6 dB per octave: see `BandEnergies`.
        assert guess.drop.loudness == pytest.approx(known.drop.loudness, abs=0.11)
        assert not guess.drop.measured
        assert known.drop.measured
        assert decibels(guess.receiving.peak / known.receiving.peak) == pytest.approx(0.0, abs=2.0)


def test_the_level_at_a_frequency_is_matched_by_the_loss_there(saltmarsh):
    for frequency in (100.0, 1000.0, 10_000.0):
        response = solve(saltmarsh["reel"].network, [frequency]).receiving["stage"][0]
        gain = amplitude(level_gain(saltmarsh["reel"], frequency))
        assert gain * abs(response) == pytest.approx(1.0, rel=1e-12)


def test_silence_gets_no_gain_and_does_no_harm(tmp_path, saltmarsh):
    pumped = Pumped(write(tmp_path / "silence.wav", np.zeros((RATE, 2))), saltmarsh)
    pumped.measured()
    pumped.listening.set_match(LOUDNESS)
    pumped.listening.transport.play()
    pumped.hear(End("drop", "reel"))
    assert pumped.listening.gains(End("receiving", "reel")).total == 0.0
    assert not pumped.pump(20).any()
    pumped.close()


def test_gains_are_worked_out_from_levels_alone():
    compared = {
        SOURCE: Level(-20.0, 0.5),
        End("receiving", "near"): Level(-20.5, 0.47),
        End("drop", "near"): Level(-40.0, 0.05),
        End("drop", "near", 1): Level(-40.0, 0.05).scaled(0.5),
        End("receiving", "far"): Level(-23.0, 0.4),
        End("drop", "far"): Level(-34.3, 0.1),
        End("drop", "far", 1): Level(-34.3, 0.1).scaled(0.5),
    }
    gains = balance(-20.0, compared, {"near": 0.5, "far": 3.0}, None)
    assert gains[End("receiving", "far")].match == 3.0
    # -20 + 34.3 - 3 = 11.3 dB for the louder drop, whole dB down; and 6.02 dB more for half of it.
    assert gains[End("drop", "near")].makeup == gains[End("drop", "far")].makeup == 11.0
    assert gains[End("drop", "near", 1)].makeup == 17.0
    assert gains[SOURCE].headroom == 0.0
