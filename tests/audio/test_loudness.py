"""Loudness and true peak against the norms' own signals, a second meter, and plain arithmetic.

"Tech 3341" is EBU Tech 3341 (November 2023), Table 1: signals, expected readings and tolerances
(0.1 LU; true peak +0.2/-0.4 dB). The table, and the 997 Hz statement and tables of ITU-R BS.1770,
were read as public test suites quote them, not in the documents themselves.
"""

import math
import subprocess
import sys
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from auralize.audio.band_loudness import BandMeter, band_centres
from auralize.audio.loudness import LoudnessMeter, gated_power, k_weighting
from auralize.audio.true_peak import TruePeakMeter
from auralize.errors import AudioFileError
from auralize.gains import headroom_gain, loudness_gain
from auralize.units import amplitude, decibels
from support.meters import RATE, Samples, fed, loudness, pink, true_peak, uneven, white

BLOCK_SIZES = [1, 64, 65, 128, 8192, 8193]


def tones(*parts: tuple[float, float], channels: int = 2) -> Samples:
    """1 kHz at peak level (dBFS) for seconds, one part after another, alike on all channels."""
    level = np.concatenate(
        [np.full(round(seconds * RATE), amplitude(dbfs)) for dbfs, seconds in parts]
    )
    wave = level * np.sin(2 * np.pi * 1000 * np.arange(len(level)) / RATE)
    return np.tile(wave[:, None], (1, channels))


# --- K-weighting ---------------------------------------------------------------------------------


def second_meter(rate: int, kind: str) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pyloudnorm

        return pyloudnorm.Meter(rate, filter_class=kind)


@pytest.mark.parametrize("rate", [8000, 11025, 44100, 48000, 96000, 192000])
def test_k_weighting_has_the_poles_and_the_shelf_of_an_independent_design(rate: int) -> None:
    """pyloudnorm's 'DeMan' filters: the same prototype, from rounded corner frequencies and Q."""
    shelf, high_pass = k_weighting(rate)
    filters = second_meter(rate, "DeMan")._filters
    theirs = filters["high_shelf_DeMan"]
    np.testing.assert_allclose(shelf, [*theirs.b, *theirs.a], rtol=1e-8)
    theirs = filters["high_pass_DeMan"]
    np.testing.assert_allclose(high_pass[3:], theirs.a, rtol=1e-8)


@pytest.mark.parametrize(
    ("rate", "tolerance"),
    [(8000, 0.29), (16000, 0.07), (22050, 0.032), (32000, 0.011), (96000, 0.01), (192000, 0.01)],
)
def test_k_weighting_departs_from_the_48_khz_curve_by_no_more_than_stated(
    rate: int, tolerance: float
) -> None:
    frequencies = np.geomspace(20, min(20_000, 0.499 * rate), 500)
    here = signal.sosfreqz(k_weighting(rate), frequencies, fs=rate)[1]
    norm = signal.sosfreqz(k_weighting(RATE), frequencies, fs=RATE)[1]
    assert np.abs(20 * np.log10(np.abs(here / norm))).max() < tolerance


# --- integrated loudness -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("channels", "channel", "expected"),
    [
        (1, 0, -3.01),
        (2, 1, -3.01),
        (3, 2, -3.01),
        (5, 4, -3.01 + 10 * math.log10(1.41)),
        (6, 2, -3.01),
        (6, 3, -math.inf),
        (6, 5, -3.01 + 10 * math.log10(1.41)),
        (8, 3, -3.01),
    ],
)
@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_full_scale_997_hz_in_one_channel(
    rate: int, channels: int, channel: int, expected: float
) -> None:
    """BS.1770: 0 dBFS at 997 Hz in the left, centre or right channel reads -3.01 LKFS."""
    samples = np.zeros((2 * rate, channels))
    samples[:, channel] = np.sin(2 * np.pi * 997 * np.arange(2 * rate) / rate)
    assert loudness(samples, rate) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        pytest.param([(-23, 20)], -23, id="1"),
        pytest.param([(-33, 20)], -33, id="2"),
        pytest.param([(-36, 10), (-23, 60), (-36, 10)], -23, id="3"),
        pytest.param([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], -23, id="4"),
        pytest.param([(-26, 20), (-20, 20.1), (-26, 20)], -23, id="5"),
        pytest.param([(-18, 5)], -18, id="alignment, section 2.9"),
    ],
)
def test_tech_3341_integrated(parts: list[tuple[float, float]], expected: float) -> None:
    assert loudness(tones(*parts)) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize(("soft", "expected"), [(0.06, 0.53), (0.05, 1.0)])
def test_the_relative_gate_is_under_the_mean_of_what_passes_the_absolute_one(
    soft: float, expected: float
) -> None:
    """BS.1770 eqs. (5) to (7) by hand: loud and soft blocks, and many under -70 LUFS."""
    powers = np.repeat([1.0, soft, 1e-8], [10, 10, 100])
    assert gated_power(powers) == pytest.approx(expected)


@pytest.mark.parametrize(("gain", "kept"), [(3.0, 0.0), (5.0, 4e-8), (0.0, 0.0)])
def test_the_absolute_gate_is_that_after_a_gain(gain: float, kept: float) -> None:
    """4e-8 is -74.67 LUFS: at -70 with 4.67 dB."""
    assert gated_power(np.full(7, 4e-8), gain) == pytest.approx(kept)


@pytest.mark.parametrize("lfe", [None, 0.0])
def test_tech_3341_case_6_surround(lfe: float | None) -> None:
    """L R C Ls Rs; and the same with an LFE at full scale, which must not count."""
    levels = [-28.0, -28.0, -24.0, -30.0, -30.0]
    if lfe is not None:
        levels.insert(3, lfe)
    samples = tones((0, 20), channels=len(levels)) * 10 ** (np.array(levels) / 20)
    assert loudness(samples) == pytest.approx(-23, abs=0.1)


@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 32000, 44100, 48000, 96000, 192000])
@pytest.mark.parametrize("noise", [pink, white, uneven])
def test_agrees_with_a_second_meter(rate: int, noise: Callable[[float, int], Samples]) -> None:
    """pyloudnorm; its K-weighting lacks the 0.043 dB that BS.1770's high-pass table adds."""
    samples = noise(6, rate)
    theirs = second_meter(rate, "K-weighting").integrated_loudness(samples)
    assert loudness(samples, rate) == pytest.approx(theirs, abs=0.05)


def test_agrees_closely_with_a_second_meter_that_uses_the_tables_filter() -> None:
    """pyloudnorm 'DeMan' at 48 kHz: the same filter, so only rounding is left."""
    samples = uneven(6, RATE)
    theirs = second_meter(RATE, "DeMan").integrated_loudness(samples)
    assert loudness(samples) == pytest.approx(theirs, abs=1e-6)


def test_gates_see_quiet_passages() -> None:
    """Half the time 20 dB down: gated out but for the blocks that straddle; ungated it is -3 dB."""
    loud = loudness(tones((-20, 10)))
    assert loudness(tones((-20, 10), (-40, 10))) == pytest.approx(loud, abs=0.1)


@pytest.mark.parametrize(
    "samples",
    [
        pytest.param(np.zeros((0, 2)), id="nothing"),
        pytest.param(np.zeros((100, 2)), id="short silence"),
        pytest.param(np.zeros((RATE, 2)), id="silence"),
        pytest.param(tones((-80, 1)), id="under the absolute gate"),
    ],
)
def test_silence_and_nothing_are_minus_infinity(samples: Samples) -> None:
    meter = fed(BandMeter(RATE, 2), samples)
    assert meter.integrated == -math.inf
    assert meter.energies.predict(np.ones(len(band_centres(RATE)))) == -math.inf


@pytest.mark.parametrize("seconds", [0.05, 0.1, 0.25, 0.3999])
@pytest.mark.parametrize("dbfs", [-20.0, -90.0])
def test_less_than_one_gating_block_is_measured_whole_and_ungated(
    seconds: float, dbfs: float
) -> None:
    """A 1 kHz stereo sine reads its peak level (Tech 3341, section 2.9), onset aside."""
    assert loudness(tones((dbfs, seconds))) == pytest.approx(dbfs, abs=0.1)


@pytest.mark.parametrize("seconds", [0.4, 1.0])
def test_an_incomplete_last_block_does_not_count(seconds: float) -> None:
    samples = tones((-20, seconds))
    longer = np.concatenate([samples, np.full((RATE // 10 - 1, 2), 0.9)])
    assert loudness(longer) == pytest.approx(loudness(samples), rel=1e-12)


def test_reading_does_not_disturb_the_measurement() -> None:
    samples = uneven(3, RATE)
    read = BandMeter(RATE, 2), TruePeakMeter(RATE, 2)
    for start in range(0, len(samples), 1000):
        for meter in read:
            meter.add(samples[start : start + 1000])
        assert read[0].integrated < 0
        assert read[0].energies.blocks.shape[1] == len(band_centres(RATE))
        assert read[1].peak > 0
    assert read[0].integrated == pytest.approx(loudness(samples), rel=1e-12)
    whole = fed(BandMeter(RATE, 2), samples).energies.blocks
    np.testing.assert_allclose(read[0].energies.blocks, whole, rtol=1e-9)
    assert decibels(read[1].peak) == pytest.approx(true_peak(samples), rel=1e-12)


def test_tech_3341_case_12_momentary() -> None:
    meter = fed(LoudnessMeter(RATE, 2), tones(*[(-20, 0.18), (-30, 0.22)] * 25))
    assert meter.momentary_max == pytest.approx(-23, abs=0.1)


def test_momentary_maximum_finds_the_burst_and_needs_400_ms() -> None:
    meter = fed(LoudnessMeter(RATE, 2), tones((-40, 1), (-20, 0.4), (-40, 1)))
    assert meter.momentary_max == pytest.approx(-20, abs=0.1)
    assert fed(LoudnessMeter(RATE, 2), tones((-20, 0.4))).momentary_max == pytest.approx(
        -20, abs=0.1
    )
    assert fed(LoudnessMeter(RATE, 2), tones((-20, 0.3999))).momentary_max == -math.inf


def test_steps_keep_time_where_100_ms_is_no_whole_number_of_samples() -> None:
    """After a minute at 11025 Hz, half a sample lost at each step would be 27 ms: 0.3 dB."""
    rate = 11_025
    samples = np.sin(2 * np.pi * 1000 * np.arange(61 * rate) / rate)[:, None]
    samples[: 60 * rate] = 0
    samples[round(60.4 * rate) :] = 0
    meter = fed(LoudnessMeter(rate, 1), samples)
    assert meter.momentary_max == pytest.approx(-3.01, abs=0.1)


@given(
    gain=st.floats(-40, 20),
    rate=st.sampled_from([8000, 11025, 44100]),
    seconds=st.floats(0.1, 1.5),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=25, deadline=None, derandomize=True)
def test_gain_moves_loudness_and_true_peak_by_itself(
    gain: float, rate: int, seconds: float, seed: int
) -> None:
    """Steady noise near -14 LUFS stays above the absolute gate by far."""
    samples = white(seconds, rate, seed)
    louder = samples * amplitude(gain)
    assert loudness(louder, rate) - loudness(samples, rate) == pytest.approx(gain, abs=1e-9)
    # Single precision: 1e-6 of a peak.
    assert true_peak(louder, rate) - true_peak(samples, rate) == pytest.approx(gain, abs=1e-5)


# --- cutting into blocks -------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [8000, 11025])
@pytest.mark.parametrize("seconds", [0.31, 0.73])
@pytest.mark.parametrize("size", BLOCK_SIZES)
def test_block_size_does_not_matter(rate: int, seconds: float, size: int) -> None:
    """11025 Hz: 100 ms is no whole number of samples."""
    samples = uneven(seconds, rate)
    whole, cut = fed(BandMeter(rate, 2), samples), fed(BandMeter(rate, 2), samples, size)
    assert cut.integrated == pytest.approx(whole.integrated, rel=1e-12)
    assert cut.momentary_max == pytest.approx(whole.momentary_max, rel=1e-12)
    assert cut.energies.gated == whole.energies.gated == (seconds > 0.4)
    # A band holds as little as 1e-9 of the power: rounding shows that much sooner.
    np.testing.assert_allclose(cut.energies.blocks, whole.energies.blocks, rtol=1e-6)
    assert fed(LoudnessMeter(rate, 2), samples, size).integrated == cut.integrated
    peaks = [fed(TruePeakMeter(rate, 2), samples, step).peak for step in (size, len(samples))]
    assert peaks[0] == pytest.approx(peaks[1], rel=1e-12)


# --- gains ---------------------------------------------------------------------------------------


def test_decibels_go_there_and_back() -> None:
    assert decibels(10.0) == pytest.approx(20)
    assert decibels(0.0) == -math.inf
    assert amplitude(-math.inf) == 0
    assert amplitude(-20.0) == pytest.approx(0.1)


def test_matching_gain_makes_equally_loud() -> None:
    reference, quiet = pink(2, RATE), 0.1 * white(2, RATE)
    gain = loudness_gain(loudness(reference), loudness(quiet))
    assert gain > 6
    assert loudness(quiet * amplitude(gain)) == pytest.approx(loudness(reference), abs=1e-9)


@pytest.mark.parametrize(
    ("reference", "measured"), [(-23.0, -math.inf), (-math.inf, -23.0), (-math.inf, -math.inf)]
)
def test_silence_is_not_matched(reference: float, measured: float) -> None:
    assert loudness_gain(reference, measured) == 0


@pytest.mark.parametrize(
    ("peaks", "ceiling", "expected"),
    [
        ([0.5, 2.0, 1.0], -1.0, -1 - 6.0206),
        ([1.0], 0.0, 0.0),
        ([0.1, 0.2], -1.0, 0.0),
        ([0.0], -1.0, 0.0),
        ([], -1.0, 0.0),
    ],
)
def test_headroom_is_that_of_the_highest_peak(
    peaks: list[float], ceiling: float, expected: float
) -> None:
    assert headroom_gain(peaks, ceiling) == pytest.approx(expected, abs=1e-4)


# --- errors, imports -----------------------------------------------------------------------------


@pytest.mark.parametrize("meter", [LoudnessMeter, BandMeter, TruePeakMeter])
def test_what_cannot_be_measured_is_refused(
    meter: type[LoudnessMeter] | type[TruePeakMeter],
) -> None:
    with pytest.raises(AudioFileError, match="4000 Hz; sample rates from 8000 to 192000 Hz can"):
        meter(4000, 2)
    with pytest.raises(AudioFileError, match="9 channels; 1 to 8 can"):
        meter(RATE, 9)
    with pytest.raises(ValueError, match=r"shape \(5, 1\), but \(n, 2\) is expected"):
        meter(RATE, 2).add(np.zeros((5, 1)))
    with pytest.raises(ValueError, match=r"shape \(5,\)"):
        meter(RATE, 2).add(np.zeros(5))


def test_importing_loads_no_scipy() -> None:
    code = "import sys, auralize.audio.loudness; print([m for m in sys.modules if m.startswith('scipy')])"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("kind", "after"), [(float, 0.0), (float, 1e-310), (np.float32, 0.0), (np.float32, 1e-40)]
)
def test_long_silence_leaves_nothing_in_the_filters(kind: type, after: float) -> None:
    """Their decay would end in denormal numbers, which are worked with four times as slowly."""
    meter = LoudnessMeter(48_000, 2)
    meter.add(np.random.default_rng(1).normal(0.0, 0.1, (48_000, 2)).astype(kind))
    before = meter.integrated
    for _ in range(60):
        meter.add(np.full((9_600, 2), after, kind))
    assert 0 < np.abs(meter._weighting._rows).min() >= np.finfo(kind).tiny
    weighted = meter._weighting.run(np.full((2, 9_600), after, kind))
    assert not np.vecdot(weighted, weighted).any()
    # 7 gating blocks are full of sound, then 3 to three, two and one quarter: within the relative gate.
    # 0.1 dB, as the noise of a block is not quite that of another.
    assert meter.integrated == pytest.approx(before + 10.0 * np.log10(8.5 / 10.0), abs=0.1)
