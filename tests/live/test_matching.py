"""Gains and matched levels, against a render and a second meter."""

import math
from dataclasses import replace

import numpy as np
import pyloudnorm
import pytest
import soundfile as sf

from auralize import gains
from auralize.audio.band_loudness import BandMeter
from auralize.audio.metering import Level
from auralize.circuit.solution import solve
from auralize.errors import AuralizeError
from auralize.gains import (
    CEILING,
    INSTALLED,
    LOUDNESS,
    MOST_MAKEUP,
    NO_GAIN,
    SOURCE,
    End,
    Gains,
    Match,
    balance,
    level_gain,
)
from auralize.live import measurer, pieces
from auralize.live.known import Known
from auralize.live.limiter import LIMITER_CEILING
from auralize.live.measurer import predicted, scaled_level
from auralize.live.sources import FileFeed
from auralize.live.wanted import Wanted
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.units import amplitude, decibels
from support.live_session import stretched
from support.pumped import BLOCK, RATE, Pumped, settled, until, write
from support.rig_text import load, text, the_choice


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
        # Measured in single precision while it is heard: 1e-7 of the highest, and so of a loudness.
        assert gains.match == pytest.approx(output.gains.match, abs=5e-6)
        assert gains.makeup == output.gains.makeup
        assert gains.headroom <= output.gains.headroom + 1e-6


def test_headroom_is_one_for_all_and_keeps_the_loudest_under_the_ceiling(shared):
    shared.listening.set_match(INSTALLED)
    shared.listening.set_makeup(38.0)
    gains = shared.listening._known.gains
    assert len(gains) == 1 + 3 * 4
    assert len({g.headroom for g in gains.values()}) == 1
    levels = shared.listening._known.levels
    peaks = [
        levels[h.choice].drops[h.across].peak * amplitude(g.total)
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
    assert shared.listening.gains(End("drop", "reel", "plus")).makeup >= 5.0


def test_over_one_conductor_the_chosen_make_up_is_6_db_more(shared):
    shared.listening.set_match(INSTALLED)
    shared.listening.set_makeup(None)
    both, one = (shared.listening.gains(End("drop", "reel", n)).makeup for n in ("both", "minus"))
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
        End("drop", "near", "plus"): Level(-40.0, 0.05).scaled(0.5),
        End("receiving", "far"): Level(-23.0, 0.4),
        End("drop", "far"): Level(-34.3, 0.1),
        End("drop", "far", "plus"): Level(-34.3, 0.1).scaled(0.5),
    }
    gains = balance(-20.0, compared, {"near": 0.5, "far": 3.0}, None)
    assert gains[End("receiving", "far")].match == 3.0
    # -20 + 34.3 - 3 = 11.3 dB for the louder drop, whole dB down; and 6.02 dB more for half of it.
    assert gains[End("drop", "near")].makeup == gains[End("drop", "far")].makeup == 11.0
    assert gains[End("drop", "near", "plus")].makeup == 17.0
    assert gains[SOURCE].headroom == 0.0


def test_make_up_is_as_much_as_brings_the_loudest_drop_to_the_source_or_a_peak_to_the_ceiling(
    tmp_path, saltmarsh
):
    """Found by trying whole dB, on a low tone with clicks: what the run's inductance adds is clicks."""
    time = np.arange(3 * RATE) / RATE
    for clicks, by_peak in ((0.0, False), (0.5, True)):
        samples = 0.3 * np.sin(2 * np.pi * 50 * time)
        samples[5_000::12_000] += clicks
        path = write(tmp_path / "clicks.wav", np.stack([samples, samples], axis=1))
        pumped = Pumped(path, saltmarsh)
        pumped.measured()
        known = pumped.listening._known
        for match in (INSTALLED, LOUDNESS, Match.at(5000.0)):
            pumped.listening.set_match(match)
            drops = [
                (known.levels[name].drop, pumped.listening.gains(End("drop", name)).match)
                for name in saltmarsh
            ]

            def too_loud(makeup, drops=drops, known=known):
                return any(
                    level.loudness + gain + makeup > known.source.level.loudness
                    for level, gain in drops
                )

            def too_high(makeup, drops=drops):
                return any(
                    decibels(level.peak) + gain + makeup > gains.CEILING for level, gain in drops
                )

            most = max(n for n in range(41) if not too_loud(n) and not too_high(n))
            assert {pumped.listening.gains(End("drop", n)).makeup for n in saltmarsh} == {most}
            assert 0 < most < MOST_MAKEUP
            assert (too_high(most + 1), too_loud(most + 1)) == (by_peak, not by_peak)
            assert pumped.listening.gains(SOURCE).headroom <= 0.0
        pumped.close()


def test_the_source_counts_for_the_headroom_that_all_share(tmp_path, saltmarsh):
    """A sine of full scale at 1 kHz, whose true peak is its amplitude; every end is softer."""
    tone = np.sin(2 * np.pi * 1000 * np.arange(RATE) / RATE)
    tone *= np.minimum(1, np.minimum(np.arange(RATE), np.arange(RATE)[::-1]) / 4800)
    pumped = Pumped(write(tmp_path / "tone.wav", np.stack([tone, tone], axis=1)), saltmarsh)
    pumped.measured()
    pumped.listening.set_makeup(0.0)
    pumped.listening.set_match(INSTALLED)
    heard = [SOURCE, *(End(s, n) for s in ("receiving", "drop") for n in saltmarsh)]
    found = [pumped.listening.gains(one).headroom for one in heard]
    assert found == pytest.approx(len(heard) * [-1.0], abs=0.01)
    pumped.close()


def test_after_an_edit_levels_are_predicted_from_those_of_the_choice_before(
    measured, saltmarsh, monkeypatch
):
    listening = measured.listening
    known = listening._known
    monkeypatch.setattr(listening._measurer, "want", lambda name, filters: None)
    before, source = known.levels["reel"], known.source
    longer = stretched(saltmarsh["reel"], 3.0)
    listening.update_choice(longer)
    until(lambda: measured.events)
    after = known.levels["reel"]
    centres = source.energies.centres
    solution = solve(longer.network, centres)
    for was, now, response in (
        (before.receiving, after.receiving, solution.receiving["stage"]),
        (before.drop, after.drop, solution.drop("stage")),
    ):
        assert not now.measured
        assert now.loudness == source.energies.predict(response)
        # The peak goes with the loudness: as far over it as the one that was measured.
        assert decibels(now.peak) - now.loudness == pytest.approx(
            decibels(was.peak) - was.loudness, abs=1e-9
        )
        assert was.measured
    assert known.levels["bought"].drop.measured
    assert listening.status().certainty == "predicted"


def test_of_silence_the_prediction_keeps_the_peak():
    assert scaled_level(Level(-math.inf, 0.25), -30.0) == Level(-30.0, 0.25, False)
    assert scaled_level(Level(-20.0, 0.25), -math.inf) == Level(-math.inf, 0.25, False)
    assert scaled_level(Level(-20.0, 0.25), -26.0).peak == pytest.approx(0.25 * 10 ** (-6 / 20))


def test_a_silent_choice_can_be_matched_at_a_frequency_and_heard(tmp_path, programme):
    """Its load is shorted, so its loss there is infinite."""
    shorted = load(type='"short"', resistance=None, nominal='"8 ohm"')
    silent = replace(the_choice(tmp_path, text(loads=shorted)), name="silent")
    sound = replace(the_choice(tmp_path, text()), name="sound")
    pumped = Pumped(programme, {"silent": silent, "sound": sound})
    pumped.measured()
    for match in (Match.at(1000.0), LOUDNESS):
        pumped.listening.set_match(match)
        found = pumped.listening.gains(End("receiving", "silent"))
        assert found.match == 0.0
        assert math.isfinite(found.total)
        assert pumped.listening.gains(End("receiving", "sound")).match > 0.5
    pumped.listening.transport.play()
    pumped.hear(End("receiving", "silent"))
    pumped.pump(10)
    assert not pumped.pump(20).any()
    pumped.listening.update_choice(replace(silent, name="sound"))
    until(lambda: pumped.events)
    assert [event.kind for event in pumped.events] == ["edit"]
    pumped.close()


def test_before_anything_is_known_there_is_no_gain_but_a_make_up_that_was_given(saltmarsh):
    wanted = Wanted(dict(saltmarsh), makeup=7.0)
    known = Known(wanted, RATE)
    assert known.certainty == "unknown"
    found = known.gains_of(End("drop", "reel"))
    assert (found.match, found.makeup) == (0.0, 7.0)
    most = amplitude(found.total) * np.abs(known.filters["reel"].drop.taps).sum()
    assert decibels(most) <= CEILING + 1e-9  # of full scale with the worst signs
    alike = Gains(headroom=found.headroom)  # no choice gets an advantage
    assert known.gains_of(End("receiving", "reel")) == known.gains_of(SOURCE) == alike
    for heard in (SOURCE, End("drop", "reel")):
        with pytest.raises(AuralizeError, match="levels are still being measured; try again"):
            known.level(heard)
    wanted.makeup = None
    assert known.gains_of(End("drop", "reel")) == NO_GAIN


def test_gains_rest_on_measurement_only_when_all_has_been_measured(saltmarsh, shared):
    found = shared.listening._known.source
    known = Known(Wanted(dict(saltmarsh)), RATE)
    measured_runs = dict(shared.listening._known.levels)
    known.measured_source(replace(found, level=replace(found.level, measured=False)))
    assert known.certainty == "predicted"
    for name, filters in known.filters.items():
        known.measured_run(name, filters, measured_runs[name])
    assert known.certainty == "predicted"  # the programme has not been heard to its end
    known.measured_source(found)
    assert known.certainty == "measured"
    assert known.levels == measured_runs  # nothing is predicted that was measured
    other = Known(Wanted(dict(saltmarsh)), RATE).filters["reel"]
    known.measured_run("reel", other, measured_runs["bought"])  # of filters before an edit
    assert known.levels == measured_runs


def test_a_prediction_is_made_anew_as_more_of_the_programme_is_known(saltmarsh, shared):
    """From the source as it is known now, not from a prediction before."""
    found = shared.listening._known.source
    known = Known(Wanted(dict(saltmarsh)), RATE)
    early = replace(found.level, loudness=found.level.loudness - 6, peak=0.1, measured=False)
    known.measured_source(replace(found, level=early))
    known.measured_source(found)
    for name, choice in saltmarsh.items():
        assert known.levels[name] == predicted(choice, found.energies, found.level)


def test_the_programme_is_told_so_far_at_each_doubling_and_then_altogether(
    programme, shared, monkeypatch
):
    """3 s in pieces of 0.7 s: after 0.7, 1.4 and 2.1 s at most, as the first look is after half a second."""
    monkeypatch.setattr(measurer, "FIRST_LOOK", 0.5)
    monkeypatch.setattr(pieces, "PIECE", 7)
    told, faults = [], []
    thread = measurer.Measurer(
        FileFeed(programme), RATE, told.append, lambda *_: None, faults.append
    )
    until(lambda: told and told[-1].level.measured)
    thread.close()
    thread.thread.join(5.0)
    assert [source.level.measured for source in told] == [False, False, False, True]
    seconds = [len(source.energies.blocks) * 0.1 for source in told]
    assert seconds == pytest.approx([0.7, 1.4, 2.1, 3.0], abs=0.5)  # gating blocks reach 0.4 s
    assert np.all(np.diff(seconds) > 0)
    level, whole = told[-1].level, shared.listening._known.source.level
    assert level.loudness == pytest.approx(whole.loudness, abs=1e-10)  # sums of other pieces
    assert level.peak == pytest.approx(whole.peak, rel=1e-12)
    assert faults == []


def test_an_edit_made_while_its_choice_is_measured_is_measured_next(programme, shared, monkeypatch):
    """The levels before it are of no use, and what it has of its own must not be forgotten."""
    known = shared.listening._known
    one, two, edited = (known.filters[name] for name in ("reel", "bought", "beams"))
    told, faults = [], []
    thread = measurer.Measurer(
        FileFeed(programme), RATE, lambda source: None, lambda *run: told.append(run), faults.append
    )
    levels = thread._levels

    def edited_meanwhile(runs, wanted):
        monkeypatch.undo()
        found = levels(runs, wanted)
        thread.want("one", edited)
        return found

    monkeypatch.setattr(thread, "_levels", edited_meanwhile)
    with thread._lock:  # both at once
        thread._wanted.update(one=one, two=two)
    thread.want("two", two)
    until(lambda: len(told) == 2)
    thread.close()
    thread.thread.join(5.0)
    assert told == [("two", two, known.levels["bought"]), ("one", edited, known.levels["beams"])]
    assert faults == []
