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
from typing import Any, TypeVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from auralize.audio.loudness import (
    BandEnergies,
    BandMeter,
    LoudnessMeter,
    TruePeakMeter,
    band_centres,
    interpolator,
    k_weighting,
)
from auralize.errors import AudioFileError
from auralize.gains import headroom_gain, loudness_gain
from auralize.units import amplitude, decibels

Samples = NDArray[np.float64]
RATE = 48_000
BLOCK_SIZES = [1, 64, 65, 128, 8192, 8193]


Meter = TypeVar("Meter", LoudnessMeter, BandMeter, TruePeakMeter)


def fed(meter: Meter, samples: Samples, size: int | None = None) -> Meter:
    size = size or len(samples) or 1
    for start in range(0, len(samples), size):
        meter.add(samples[start : start + size])
    return meter


def loudness(samples: Samples, rate: int = RATE) -> float:
    return fed(LoudnessMeter(rate, samples.shape[1]), samples).integrated


def true_peak(samples: Samples, rate: int = RATE) -> float:
    return decibels(fed(TruePeakMeter(rate, samples.shape[1]), samples).peak)


def tones(*parts: tuple[float, float], channels: int = 2) -> Samples:
    """1 kHz at peak level (dBFS) for seconds, one part after another, alike on all channels."""
    level = np.concatenate(
        [np.full(round(seconds * RATE), amplitude(dbfs)) for dbfs, seconds in parts]
    )
    wave = level * np.sin(2 * np.pi * 1000 * np.arange(len(level)) / RATE)
    return np.tile(wave[:, None], (1, channels))


def pink(seconds: float, rate: int) -> Samples:
    """Stereo noise falling by 3 dB per octave above 10 Hz, peak 0.7."""
    rng = np.random.default_rng(1770)
    count = round(seconds * rate)
    frequencies = np.fft.rfftfreq(count, 1 / rate)
    shape = (len(frequencies), 2)
    spectrum = rng.standard_normal(shape) + 1j * rng.standard_normal(shape)
    spectrum /= np.sqrt(np.maximum(frequencies, 10))[:, None]
    samples = np.fft.irfft(spectrum, count, axis=0)
    return np.asarray(0.7 * samples / np.abs(samples).max())


def white(seconds: float, rate: int, seed: int = 1770) -> Samples:
    return 0.1 * np.random.default_rng(seed).standard_normal((round(seconds * rate), 2))


def uneven(seconds: float, rate: int) -> Samples:
    """Pink noise whose level jumps by up to 30 dB every quarter of a second: gates at work."""
    samples = pink(seconds, rate)
    jumps = np.random.default_rng(2).uniform(-30, 0, math.ceil(4 * seconds))
    levels = 10 ** (np.repeat(jumps, rate // 4 + 1)[: len(samples)] / 20)
    return samples * levels[:, None]


def faded(wave: Samples, seconds: float = 0.01, rate: int = RATE) -> Samples:
    from_end = np.minimum(np.arange(len(wave)), np.arange(len(wave))[::-1])
    return np.asarray(wave * np.minimum(1, from_end / (seconds * rate)))


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


def test_an_incomplete_last_block_does_not_count() -> None:
    samples = tones((-20, 1))
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
    assert true_peak(louder, rate) - true_peak(samples, rate) == pytest.approx(gain, abs=1e-9)


# --- cutting into blocks -------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [8000, 11025])
@pytest.mark.parametrize("seconds", [0.31, 1.33])
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


# --- prediction through a response ---------------------------------------------------------------


def high_shelf(gain: float, frequency: float, rate: int) -> Samples:
    """First-order shelf, gain in dB far above the frequency."""
    top = amplitude(gain)
    corner = 2 * np.pi * frequency
    b, a = signal.bilinear([top, corner], [1, corner], rate)
    return np.asarray(signal.tf2sos(b, a))


RESPONSES: dict[str, Callable[[int], Samples]] = {
    "shelf -6 dB at 2 kHz": lambda rate: high_shelf(-6, 2000, rate),
    "shelf -20 dB at 2 kHz": lambda rate: high_shelf(-20, 2000, rate),
    "low-pass 6 dB/oct at 2 kHz": lambda rate: signal.butter(1, 2000, fs=rate, output="sos"),
    "low-pass 12 dB/oct at 2 kHz": lambda rate: signal.butter(2, 2000, fs=rate, output="sos"),
    "high-pass 6 dB/oct at 15 kHz": lambda rate: signal.butter(
        1, 15000, "high", fs=rate, output="sos"
    ),
}


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize(("noise", "tolerance"), [(pink, 0.05), (white, 0.05), (uneven, 0.1)])
@pytest.mark.parametrize("response", RESPONSES)
def test_predicted_loudness_is_that_of_the_filtered_programme(
    rate: int, noise: Callable[[float, int], Samples], tolerance: float, response: str
) -> None:
    sections = RESPONSES[response](rate)
    samples = noise(8, rate)
    bands = fed(BandMeter(rate, 2), samples).energies
    predicted = bands.predict(signal.sosfreqz(sections, bands.centres, fs=rate)[1])
    measured = loudness(signal.sosfilt(sections, samples, axis=0), rate)
    assert predicted == pytest.approx(measured, abs=tolerance)
    # There is something to predict: at least ten times what may be missed.
    assert abs(measured - loudness(samples, rate)) > 1


@pytest.mark.parametrize(("order", "stated"), [(1, 0.11), (2, 0.45)])
def test_worst_case_of_the_prediction_is_as_stated(order: int, stated: float) -> None:
    """A tone half way between the centres at 1000 and 1259 Hz, on 6 dB/oct times order."""
    between = 1000 * 10**0.05
    tone = faded(np.sin(2 * np.pi * between * np.arange(3 * RATE) / RATE), 0.1)[:, None]
    bands = fed(BandMeter(RATE, 1), tone).energies
    predicted = bands.predict(np.clip((bands.centres / between) ** -order, 0.25, 4))
    assert predicted - loudness(tone) == pytest.approx(stated, abs=0.02)


@pytest.mark.parametrize("rate", [8000, 11025, 15_888, 44100, 48000, 96000, 192000])
@pytest.mark.parametrize("seconds", [0.01, 0.31, 0.4, 2.37])
def test_without_a_response_the_prediction_is_the_reading(rate: int, seconds: float) -> None:
    meter = fed(BandMeter(rate, 2), uneven(seconds, rate))
    bands = meter.energies
    ones = np.ones(len(bands.centres))
    assert bands.predict(ones) == pytest.approx(meter.integrated, rel=1e-9)
    quieter = bands.predict(0.5j * ones) - meter.integrated  # all of it is above the absolute gate
    assert quieter == pytest.approx(decibels(0.5), rel=1e-9)
    assert bands.gated == (seconds >= 0.4)


@pytest.mark.parametrize("rate", range(8000, 192_001, 1789))
def test_every_band_has_bins_at_every_rate(rate: int) -> None:
    """Else a band would count its neighbour's power twice."""
    samples = np.zeros((rate // 10, 1))
    samples[rate // 20] = 1
    bands = fed(BandMeter(rate, 1), samples).energies
    frequencies = bands.centres
    assert frequencies[-1] == rate / 2
    ratios = frequencies[1:] / frequencies[:-1]
    assert ratios.min() > 10 ** (1 / 41)
    assert ratios.max() < 10 ** (1.3 / 10)
    # A click is white: power per band follows the K-weighting and the band's width (triangles).
    power = np.abs(signal.sosfreqz(k_weighting(rate), frequencies, fs=rate)[1]) ** 2
    width = np.diff(np.concatenate([[0], frequencies, frequencies[-1:]]))
    expected = power * (width[1:] + width[:-1]) / 2
    inner = slice(10, -1)  # from 200 Hz, where a band holds many bins
    share = bands.blocks[0] / bands.blocks[0][inner].sum()
    np.testing.assert_allclose(share[inner], (expected / expected[inner].sum())[inner], rtol=0.15)


def test_prediction_moves_the_gates_with_the_response() -> None:
    """Loud treble, then quiet bass: taking the treble away lets the bass count."""
    time = np.arange(5 * RATE) / RATE
    treble, bass = np.sin(2 * np.pi * 8000 * time), 0.03 * np.sin(2 * np.pi * 200 * time)
    samples = np.concatenate([treble, bass])[:, None]
    sections = signal.butter(4, 1000, fs=RATE, output="sos")
    bands = fed(BandMeter(RATE, 1), samples).energies
    predicted = bands.predict(signal.sosfreqz(sections, bands.centres, fs=RATE)[1])
    measured = loudness(signal.sosfilt(sections, samples, axis=0))
    assert measured < loudness(samples) - 20
    assert predicted == pytest.approx(measured, abs=0.1)


@pytest.mark.parametrize("rate", [11_025, 48_000])
def test_bands_are_those_of_their_own_block(rate: int) -> None:
    """Bass for 400 ms, then treble: only the soft edge of one window sees the other side."""
    time = np.arange(rate * 4 // 10) / rate
    parts = [np.sin(2 * np.pi * frequency * time) for frequency in (200, 4000)]
    bands = fed(BandMeter(rate, 1), np.concatenate(parts)[:, None]).energies
    share = bands.blocks[:, bands.centres > 1000].sum(axis=1) / bands.blocks.sum(axis=1)
    assert len(share) == 5
    # sin^4 over the last quarter of the window holds 3.8 % of it: 0.9 % of four steps, and treble
    # is 4 dB (2.6 times) up by the K-weighting.
    assert 0.005 < share[0] < 0.03
    assert 0.97 < share[-1] < 0.998


def test_prediction_wants_one_gain_for_each_centre() -> None:
    bands = BandEnergies(np.array([100.0, 1000.0]), np.ones((1, 2)), gated=False)
    with pytest.raises(ValueError, match=r"shape \(3,\), but there are 2 band centres"):
        bands.predict([1.0, 1.0, 1.0])


# --- true peak -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("divisor", "amplitude", "phase", "expected"),
    [
        pytest.param(4, 0.5, 0.0, -6.0, id="15"),
        pytest.param(4, 0.5, 45.0, -6.0, id="16"),
        pytest.param(6, 0.5, 60.0, -6.0, id="17"),
        pytest.param(8, 0.5, 67.5, -6.0, id="18"),
        pytest.param(4, 1.41, 45.0, 3.0, id="19"),
    ],
)
def test_tech_3341_true_peak(divisor: int, amplitude: float, phase: float, expected: float) -> None:
    instants = np.arange(RATE // 2)
    wave = faded(amplitude * np.sin(2 * np.pi * instants / divisor + math.radians(phase)))
    measured = true_peak(np.tile(wave[:, None], (1, 2)))
    assert expected - 0.4 <= measured <= expected + 0.2


@pytest.mark.parametrize("offset", [0, 1, 2, 3])
def test_tech_3341_cases_20_to_23(offset: int) -> None:
    """One period of fs/4 at 1.00 in a sine of fs/6 at 0.50, made at 4 fs, filtered, decimated.

    The table names neither the splice nor the filter: here at a rising zero crossing, continuous
    in phase, and a linear-phase low-pass at 22 kHz. The signal's own peak is then known densely.
    """
    frequency, amplitude = np.full(19_200, RATE / 6), np.full(19_200, 0.5)
    burst = slice(9600, 9616)
    frequency[burst], amplitude[burst] = RATE / 4, 1.0
    phase = 2 * np.pi * np.concatenate([[0], np.cumsum(frequency)[:-1]]) / (4 * RATE)
    wave = faded(amplitude * np.sin(phase), rate=4 * RATE)
    wave = np.convolve(wave, signal.firwin(801, 22_000, fs=4 * RATE), "same")
    measured = true_peak(wave[offset::4, None])
    assert -0.4 <= measured <= 0.2
    dense = decibels(np.abs(signal.resample(wave, 16 * len(wave))).max())
    assert dense - 0.1 < measured < dense + 0.01


@pytest.mark.parametrize(
    ("rate", "oversampling"),
    [(8000, 4), (44100, 4), (48000, 4), (63999, 4), (64000, 2), (96000, 2), (128000, 1)],
)
@pytest.mark.parametrize("part", [0.05, 0.17, 0.25, 0.3137, 0.41, 0.45])
def test_a_sine_reads_within_what_oversampling_allows(
    rate: int, oversampling: int, part: float
) -> None:
    """Between two instants a sine of amplitude 1 cannot fall below cos(pi f / oversampled rate)."""
    allowed = decibels(math.cos(math.pi * part / oversampling))
    readings = []
    for phase in np.linspace(0, np.pi, 9):
        wave = np.sin(2 * np.pi * part * np.arange(1500) + phase)
        readings.append(true_peak(faded(wave, 0.01, 48_000)[:, None], rate))
    assert min(readings) > allowed - 0.01
    assert max(readings) < 0.01


def test_a_short_sine_between_two_samples_is_under_read_as_much_as_stated() -> None:
    """A quarter of the rate, its peak half way between two instants, every 4 samples again."""
    wave = faded(np.sin(2 * np.pi * (np.arange(4800) / 4 + 1 / 32)))
    assert np.abs(wave).max() == pytest.approx(math.cos(math.pi / 16), rel=1e-12)
    assert true_peak(wave[:, None]) == pytest.approx(-0.169, abs=0.003)


def every_instant(samples: Samples, oversampling: int) -> float:
    """The highest of all interpolated instants, none skipped."""
    peak = float(np.abs(samples).max())
    for channel in samples.T:
        for taps in interpolator(oversampling):
            peak = max(peak, float(np.abs(np.convolve(channel, taps[::-1])).max()))
    return peak


def programme(kind: str, rng: np.random.Generator) -> Samples:
    count = int(rng.integers(1, 3000))
    noise = rng.standard_normal((count, 2))
    walk = np.cumsum(noise, axis=0)
    centre = np.arange(count)[:, None] - count // 2 + 0.5
    kinds: dict[str, Samples] = {
        "noise": noise,
        "clicks": noise * (rng.random((count, 1)) < 0.01),
        "alternating": np.sign(noise) * np.cos(np.pi * (centre - 0.5)),
        "slow": walk,
        "worst signs": np.sign(np.sinc(centre)) * np.ones((1, 2)),
        "clipped": np.clip(walk, -3, 3),
    }
    return kinds[kind]


@pytest.mark.parametrize(("rate", "oversampling"), [(48_000, 4), (96_000, 2)])
@pytest.mark.parametrize(
    "kind", ["noise", "clicks", "alternating", "slow", "worst signs", "clipped"]
)
def test_skipping_segments_loses_nothing(kind: str, rate: int, oversampling: int) -> None:
    rng = np.random.default_rng(96)
    for _ in range(12):
        samples = programme(kind, rng)
        measured = fed(TruePeakMeter(rate, 2), samples, int(rng.integers(1, 700))).peak
        assert measured == pytest.approx(every_instant(samples, oversampling), rel=1e-12)


@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(0, 300),
    rate=st.sampled_from([48_000, 96_000, 192_000]),
)
@settings(max_examples=50, deadline=None, derandomize=True)
def test_true_peak_is_never_below_the_highest_sample(seed: int, count: int, rate: int) -> None:
    samples = np.random.default_rng(seed).standard_normal((count, 2))
    highest = float(np.abs(samples).max(initial=0))
    measured = fed(TruePeakMeter(rate, 2), samples).peak
    assert measured >= highest
    assert rate < 128_000 or measured == highest


def test_the_ends_of_the_stream_are_looked_at() -> None:
    """Two equal samples peak between them at 4/pi (sinc, half a sample off): at either end too."""
    for place in (0, 1, 500, 998):
        samples = np.zeros((1000, 1))
        samples[place : place + 2] = 0.5
        assert fed(TruePeakMeter(RATE, 1), samples).peak == pytest.approx(2 / np.pi, rel=2e-3)


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
