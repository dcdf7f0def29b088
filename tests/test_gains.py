"""Match, make-up and headroom: each rule against figures worked out by hand from its words."""

import math

import pytest

from auralize.audio.metering import Level
from auralize.circuit.solution import ACROSS
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
    chosen_makeup,
    equally_loud,
    headroom_gain,
    level_gain,
    loudness_gain,
    match_gain,
)
from support.rig_text import load, text, the_choice

SILENCE = Level(-math.inf, 0.0)


def linear(db):
    return 10 ** (db / 20)


def level(loudness, peak_db):
    return Level(loudness, linear(peak_db))


def receiving(name):
    return End("receiving", name)


def drop(name, across="both"):
    return End("drop", name, across)


# ---- what can be heard, and its words


def test_conductors_make_no_difference_to_an_end_but_to_a_drop():
    for across in ("plus", "minus"):
        assert End("receiving", "reel", across).plain == receiving("reel")
        assert drop("reel", across).plain == drop("reel", across) != drop("reel")


def test_words_of_what_is_heard():
    assert SOURCE.words == "source"
    assert drop("reel").words == "drop of reel"
    assert drop("reel", "plus").words == "drop over plus of reel"
    assert drop("reel", "minus").words == "drop over minus of reel"
    for across in ACROSS:
        assert End("receiving", "reel", across).words == "receiving end of reel"


def test_a_choice_of_another_name_is_never_called_the_same():
    """Names of choices are any text: no drop over one conductor reads as the drop of such a choice."""
    names = ["reel", "over plus of reel", "reel over plus", "plus"]
    ends = [drop(name, across) for name in names for across in ACROSS]
    assert len({end.words for end in ends}) == len(ends)


def test_kinds_as_in_names_of_files():
    assert [drop("reel", across).kind for across in ACROSS] == ["drop", "drop-plus", "drop-minus"]
    assert {End("receiving", "reel", across).kind for across in ACROSS} == {"receiving"}


def test_words_and_data_of_a_match():
    assert (INSTALLED.words, INSTALLED.data) == ("levels as installed", "installed")
    assert (LOUDNESS.words, LOUDNESS.data) == ("receiving ends matched in loudness", "loudness")
    assert (Match.at(1000).words, Match.at(1000).data) == (
        "receiving ends matched at 1 kHz",
        1000.0,
    )


@pytest.mark.parametrize("hertz", [10, 40_000.0])
def test_the_lowest_and_the_highest_frequency_of_a_match_are_taken(hertz):
    assert Match.of(hertz) == Match.at(hertz)


def test_the_total_is_the_sum():
    assert Gains(3.0, 12.0, -1.5).total == 13.5
    assert NO_GAIN.total == 0.0


# ---- match


def test_a_match_in_loudness_is_the_difference_and_silence_gets_none():
    assert loudness_gain(-20.0, -23.5) == 3.5
    assert loudness_gain(-23.5, -20.0) == -3.5
    for reference, measured in ((-20.0, -math.inf), (-math.inf, -20.0), (-math.inf, -math.inf)):
        assert loudness_gain(reference, measured) == 0.0


@pytest.fixture
def mill(tmp_path):
    """8 ohm at the end of 62 m of 2.5 mm2 behind 0.05 ohm; and the same run into a short."""
    shorted = load(type='"short"', resistance=None, nominal='"8 ohm"')
    return the_choice(tmp_path, text()), the_choice(tmp_path, text(loads=shorted))


def test_a_match_at_a_frequency_is_the_loss_there_and_silence_gets_none(mill):
    sound, shorted = mill
    # All but a divider of resistances at 20 Hz. IEC 60028: copper has 1/58 ohm mm2/m at 20 degC (value
    # from memory). What the run's reactance and skin effect add there is under a thousandth of that.
    in_line = 0.05 + 2 * 62 / 58 / 2.5
    assert level_gain(sound, 20.0) == pytest.approx(20 * math.log10((8 + in_line) / 8), rel=1e-3)
    assert level_gain(shorted, 1000.0) == 0.0
    assert match_gain(Match.at(1000.0), shorted, -20.0, SILENCE) == 0.0


def test_each_way_of_matching(mill):
    sound, _ = mill
    arrives = level(-22.0, -6.0)
    assert match_gain(INSTALLED, sound, -20.0, arrives) == 0.0
    assert match_gain(LOUDNESS, sound, -20.0, arrives) == 2.0
    assert match_gain(Match.at(500.0), sound, -20.0, arrives) == level_gain(sound, 500.0)


# ---- make-up


@pytest.mark.parametrize(
    ("drops", "makeup"),
    [
        ([(level(-40.0, -30.0), 0.0)], 20.0),  # loudness: -20 + 40
        ([(level(-40.5, -30.0), 0.0)], 20.0),  # whole dB, down
        ([(level(-40.0, -30.0), 3.0)], 17.0),  # a match comes first
        ([(level(-40.0, -10.0), 0.0)], 9.0),  # the peak: -1 + 10
        ([(level(-40.0, -10.0), 3.0)], 6.0),  # and there as well
        ([(level(-40.0, -30.0), 0.0), (level(-33.0, -29.0), 0.0)], 13.0),  # the loudest of them
        ([(level(-40.0, -30.0), 0.0), (level(-44.0, -8.0), 0.0)], 7.0),  # the highest peak of them
        ([(level(-90.0, -80.0), 0.0)], MOST_MAKEUP),
        ([(level(-10.0, -2.0), 0.0)], 0.0),  # never turned down
        ([(level(-math.inf, -60.0), 0.0)], MOST_MAKEUP),  # too quiet for a loudness, yet a peak
        ([(level(-math.inf, -30.0), 0.0)], 29.0),
        ([(SILENCE, 0.0)], 0.0),
        ([(SILENCE, 0.0), (level(-40.0, -30.0), 0.0)], 20.0),  # silence has no say
        ([], 0.0),
    ],
)
def test_make_up_is_whole_dB_up_to_the_source_with_no_peak_over_the_ceiling(drops, makeup):
    assert chosen_makeup(-20.0, drops) == makeup


def test_make_up_for_a_source_without_loudness_minds_peaks_alone():
    assert chosen_makeup(-math.inf, [(level(-40.0, -10.0), 0.0)]) == 9.0


# ---- headroom


def test_headroom_puts_the_highest_peak_under_the_ceiling_and_never_turns_up():
    assert headroom_gain([linear(2.0), linear(-3.0)]) == pytest.approx(-3.0)
    assert headroom_gain([linear(-0.5)], 0.0) == 0.0
    assert headroom_gain([linear(CEILING)]) == pytest.approx(0.0, abs=1e-12)
    assert headroom_gain([linear(-20.0)]) == headroom_gain([0.0]) == headroom_gain([]) == 0.0


# ---- all together


COMPARED = {
    SOURCE: level(-20.0, -6.0),
    receiving("near"): level(-20.5, -6.5),
    drop("near"): level(-40.0, -26.0),
    drop("near", "plus"): level(-46.0, -32.0),
    drop("near", "minus"): level(-46.0, -32.0),
    receiving("far"): level(-23.0, -8.0),
    drop("far"): level(-34.0, -21.0),
    drop("far", "plus"): level(-40.0, -27.0),
    drop("far", "minus"): level(-60.0, -47.0),
}
MATCHES = {"near": 0.5, "far": 3.0}


def test_a_match_is_for_all_signals_of_a_choice_and_none_for_the_source():
    gains = balance(-20.0, COMPARED, MATCHES, None)
    assert gains.keys() == COMPARED.keys()
    for heard, found in gains.items():
        assert found.match == (0.0 if heard == SOURCE else MATCHES[heard.choice])


def test_drops_over_the_same_conductors_share_one_make_up_and_ends_get_none():
    """The far drop is the loudest: -20 + 34 - 3 = 11 dB; over plus 17; over minus the near, 25."""
    gains = balance(-20.0, COMPARED, MATCHES, None)
    for name in MATCHES:
        assert gains[drop(name)].makeup == 11.0
        assert gains[drop(name, "plus")].makeup == 17.0
        assert gains[drop(name, "minus")].makeup == 25.0
        assert gains[receiving(name)].makeup == 0.0
    assert gains[SOURCE].makeup == 0.0


def test_a_make_up_that_was_given_is_for_all_drops_alike():
    gains = balance(-20.0, COMPARED, MATCHES, 4.5)
    assert {gains[drop(name, n)].makeup for name in MATCHES for n in ACROSS} == {4.5}
    assert gains[receiving("far")].makeup == gains[SOURCE].makeup == 0.0
    assert balance(-20.0, COMPARED, MATCHES, 0.0)[drop("far")].makeup == 0.0


def test_headroom_is_for_all_and_counts_match_and_make_up():
    """The far drop with 3 dB of match and 30 of make-up peaks at 12 dBTP: 13 dB down, for everybody."""
    gains = balance(-20.0, COMPARED, MATCHES, 30.0)
    assert {round(g.headroom, 9) for g in gains.values()} == {-13.0}


@pytest.mark.parametrize("loud", list(COMPARED))
def test_whatever_is_loudest_sets_the_headroom_of_all_the_source_too(loud):
    levels = {**COMPARED, loud: level(-20.0, 3.0)}
    gains = balance(-20.0, levels, dict.fromkeys(MATCHES, 0.0), 0.0)
    assert {round(g.headroom, 9) for g in gains.values()} == {-4.0}


def test_what_is_not_shared_does_not_count_for_the_headroom_but_gets_it():
    levels = {**COMPARED, SOURCE: level(-20.0, 3.0), receiving("far"): level(-20.0, 1.0)}
    shared = [receiving("near"), receiving("far")]
    gains = balance(-20.0, levels, dict.fromkeys(MATCHES, 0.0), 0.0, shared)
    assert {round(g.headroom, 9) for g in gains.values()} == {-2.0}


# ---- equally loud


def test_equally_loud_turns_all_down_to_the_softest():
    assert equally_loud([-20.0, -24.0, -22.0], [0.0, 0.0, 0.0]) == [-4.0, 0.0, -2.0]
    assert equally_loud([-20.0], [0.0]) == [0.0]


def test_what_has_no_loudness_cannot_be_made_equally_loud():
    with pytest.raises(AuralizeError, match="too quiet to have a loudness, so it cannot"):
        equally_loud([-20.0, -math.inf], [0.0, 0.0])
