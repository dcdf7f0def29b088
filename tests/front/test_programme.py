"""The synthesised programme: its form, its balance, and that each section holds what it claims."""

import os
import subprocess
import sys
from itertools import pairwise

import numpy as np
import pyloudnorm
import pytest
from auralize_demo import metal
from auralize_demo.programme import SECTIONS, Section, synthesise
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.signal import resample_poly
from scipy.signal.windows import tukey

from support.evening import evening

RATE = 48_000
MUSICAL_OCTAVES = 1000 * 2.0 ** np.arange(-5, 5)
"""Hz, nominal 31.5 to 16 k: octave bands with centres at 1 kHz times powers of two (IEC 61260-1)."""

Samples = NDArray[np.float64]


@pytest.fixture
def played() -> Samples:
    return evening()


def section(name: str) -> Section:
    return next(s for s in SECTIONS if s.name == name)


def between(sound: Samples, start: float, end: float, rate: int = RATE) -> Samples:
    return sound[round(start * rate) : round(end * rate)]


def power_between(sound: Samples, low: float, high: float, rate: int = RATE) -> float:
    """Mean square of both channels from low to high in Hz, a tenth of the excerpt faded."""
    window = tukey(len(sound), 0.2)[:, None]
    power = (np.abs(np.fft.rfft(sound * window, axis=0)) ** 2).sum(axis=1)
    frequency = np.fft.rfftfreq(len(sound), 1 / rate)
    inside = (frequency >= low) & (frequency < high)
    return float(power[inside].sum() / len(sound) ** 2)


def octave_levels(sound: Samples, rate: int = RATE) -> Samples:
    edge = np.sqrt(2)
    return np.array(
        [10 * np.log10(power_between(sound, c / edge, c * edge, rate)) for c in MUSICAL_OCTAVES]
    )


def rms(sound: Samples) -> float:
    return float(np.sqrt(np.mean(sound**2)))


# form


def test_is_24_seconds_of_stereo_in_double_precision(played: Samples) -> None:
    assert played.shape == (24 * RATE, 2)
    assert played.dtype == np.float64


def test_sections_follow_one_another_and_cover_the_whole(played: Samples) -> None:
    assert SECTIONS[0].start == 0
    assert SECTIONS[-1].end == len(played) / RATE
    for before, after in pairwise(SECTIONS):
        assert before.start < before.end == after.start
    assert len({s.name for s in SECTIONS}) == len(SECTIONS)


def test_two_calls_give_the_same_bits(played: Samples) -> None:
    assert np.array_equal(synthesise(), played)


def test_the_number_of_blas_threads_changes_no_bit() -> None:
    code = (
        "import hashlib; from auralize_demo.metal import cymbal; "
        "print(hashlib.sha256(cymbal(0.004, 2.4, 1, 48_000).tobytes()).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "OPENBLAS_NUM_THREADS": threads},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for threads in ("1", "2")
    }
    assert len(digests) == 1


def test_import_and_synthesis_load_no_scipy() -> None:
    code = (
        "import sys; from auralize_demo.strings import bass; bass(55.0, 0.5, 48_000); "
        "print([m for m in sys.modules if m.startswith('scipy')])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


# level


def test_largest_sample_is_at_minus_3_dbfs(played: Samples) -> None:
    assert np.abs(played).max() == pytest.approx(10 ** (-3 / 20), rel=1e-12)


def test_peaks_between_samples_leave_headroom(played: Samples) -> None:
    # four times oversampled (ITU-R BS.1770-4 annex 2, from memory); the figure that PEAK_DBFS states
    over = np.abs(resample_poly(played, 4, 1, axis=0)).max()
    assert 20 * np.log10(over) < -2.9


def test_carries_no_dc(played: Samples) -> None:
    # 80 dB under the programme; one bass note cut in mid-cycle would already leave 3e-4 of its peak
    assert np.all(np.abs(played.mean(axis=0)) < 1e-4 * played.std(axis=0))


def test_starts_and_ends_in_silence(played: Samples) -> None:
    assert np.all(played[[0, -1]] == 0)
    assert rms(between(played, 0, 0.01)) < 1e-3 * rms(played)
    assert rms(between(played, 23.95, 24)) < 10 ** (-50 / 20) * rms(played)


def test_fades_have_no_step(played: Samples) -> None:
    # a step against the neighbours would stand out of the last samples, which fall as t^2
    assert np.abs(played[:5]).max() < 1e-6
    assert np.abs(played[-5:]).max() < 1e-6


def test_sections_are_about_equally_loud(played: Samples) -> None:
    # an independent meter of ITU-R BS.1770-4
    meter = pyloudnorm.Meter(RATE)
    loudness = {
        s.name: meter.integrated_loudness(between(played, s.start, s.end)) for s in SECTIONS
    }
    together = loudness.pop("Together")
    alone = list(loudness.values())
    assert max(alone) - min(alone) < 1.5
    assert 0 < together - np.mean(alone) < 3


def test_both_channels_carry_the_music_and_differ(played: Samples) -> None:
    left, right = played.T
    assert abs(20 * np.log10(rms(left) / rms(right))) < 1
    likeness = np.corrcoef(left, right)[0, 1]
    assert 0.5 < likeness < 0.95  # wide, and yet nothing lost when summed to mono


# spectrum


def test_every_octave_from_31_hz_to_16_khz_has_energy(played: Samples) -> None:
    levels = octave_levels(played)
    assert levels.max() - levels.min() < 20


@pytest.mark.parametrize("name", ["Struck metal", "Brushes", "Together"])
def test_the_16_khz_octave_is_well_above_nothing(played: Samples, name: str) -> None:
    part = section(name)
    levels = octave_levels(between(played, part.start, part.end))
    assert levels[-1] > levels.max() - 20


def test_brushes_sweep_upwards(played: Samples) -> None:
    start = section("Brushes").start

    def tilt(at: float) -> float:
        excerpt = between(played, start + at, start + at + 0.1)
        return power_between(excerpt, 5600, 11_300) / power_between(excerpt, 1400, 2800)

    assert tilt(0.4) > 30 * tilt(0.15)


def test_bar_modes_solve_the_equation_of_the_free_bar() -> None:
    # Euler-Bernoulli, both ends free: cosh x cos x = 1, one root near each (k + 1/2) pi
    roots = [
        brentq(lambda x: np.cos(x) - 1 / np.cosh(x), (k + 0.4) * np.pi, (k + 0.6) * np.pi)
        for k in range(1, 7)
    ]
    assert np.allclose(metal.BAR_RATIOS, (np.array(roots) / roots[0]) ** 2, rtol=1e-6)


def test_a_struck_bar_sounds_these_modes() -> None:
    # 1 : 2.756 : 5.404 for the first three; values from memory
    power = np.abs(np.fft.rfft(metal.bar(1000, 1.0, RATE))) ** 2  # bins of 1 Hz
    for low, high, mode in ((500, 1800, 1000), (1800, 4000, 2756), (4000, 7000, 5404)):
        assert abs(low + np.argmax(power[low:high]) - mode) <= 2


# A4 = 440 Hz (ISO 16), equal temperament: 440 * 2^(n / 12), computed by hand
BASS_NOTES = (
    (6.0, 7.0, 41.20),
    (7.0, 8.0, 55.00),
    (8.0, 8.5, 61.74),
    (8.5, 9.0, 82.41),
    (9.0, 9.5, 98.00),
    (9.5, 10.0, 110.00),
    (10.0, 10.5, 61.74),
)


@pytest.mark.parametrize(("start", "end", "pitch"), BASS_NOTES)
def test_bass_notes_are_where_they_are_claimed(
    played: Samples, start: float, end: float, pitch: float
) -> None:
    part = section("Bass")
    assert part.start <= start < end <= part.end
    excerpt = between(played, start + 0.05, end - 0.07).mean(axis=1)
    padded = 10 * RATE  # bins of 0.1 Hz; the next semitone is 2.4 Hz away or more
    spectrum = np.abs(np.fft.rfft(excerpt * np.hanning(len(excerpt)), padded))
    assert np.argmax(spectrum) / 10 == pytest.approx(pitch, abs=0.6)


def formants_of(excerpt: Samples) -> list[float]:
    """Linear prediction, autocorrelation method, order 12 at 10 kHz: resonances under 500 Hz wide.

    Makhoul, Linear prediction: a tutorial review, Proc. IEEE 63 (1975); value from memory.
    """
    order, rate = 12, 10_000
    sound = resample_poly(excerpt.mean(axis=1), 5, 24)
    sound = np.diff(sound * np.hamming(len(sound)))  # takes out the fall of the source
    lags = np.correlate(sound, sound, "full")[len(sound) - 1 :][: order + 1]
    matrix = lags[np.abs(np.subtract.outer(np.arange(order), np.arange(order)))]
    poles = np.roots([1, *np.linalg.solve(matrix, -lags[1:])])
    poles = poles[poles.imag > 0]
    narrow = poles[-np.log(np.abs(poles)) * rate / np.pi < 500]
    return sorted(np.angle(narrow) * rate / (2 * np.pi))


# first two formants of men: Peterson and Barney, J. Acoust. Soc. Am. 24 (1952) 175, table II
SUNG = (
    (13.70, 14.30, 164.8, 730, 1090),
    (14.65, 14.80, 196.0, 570, 840),
    (15.10, 15.40, 185.0, 270, 2290),
    (15.60, 15.90, 164.8, 530, 1840),
    (16.10, 16.30, 146.8, 300, 870),
    (16.80, 17.60, 123.5, 730, 1090),
)
"""Seconds from and to, pitch, and the formants in Hz."""


@pytest.mark.parametrize(("start", "end", "pitch", "first", "second"), SUNG)
def test_vowels_have_the_published_formants(
    played: Samples, start: float, end: float, pitch: float, first: float, second: float
) -> None:
    # linear prediction is drawn to the nearest harmonic, by up to a quarter of their spacing
    found = formants_of(between(played, start, end))
    assert found[0] == pytest.approx(first, abs=pitch / 4)
    assert found[1] == pytest.approx(second, rel=0.05)


@pytest.mark.parametrize("start", [14.88, 16.38])
def test_an_s_is_noise_from_4_to_10_khz_and_no_voice(played: Samples, start: float) -> None:
    s, vowel = between(played, start, start + 0.1), between(played, start + 0.4, start + 0.5)
    assert power_between(s, 4000, 10_000) > 10 * power_between(vowel, 4000, 10_000)
    assert power_between(s, 100, 1000) < 0.01 * power_between(vowel, 100, 1000)


def test_the_voice_has_vibrato(played: Samples) -> None:
    # the tenth harmonic of B2 (123.5 Hz) moves by 0.3 semitones: +-21 Hz, so it is not one line
    vowel = between(played, 16.9, 17.7)
    line = power_between(vowel, 1234.7 - 5, 1234.7 + 5)
    assert line < 0.5 * power_between(vowel, 1234.7 - 40, 1234.7 + 40)


# other rates


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_other_rates_play_the_same_music(played: Samples, rate: int) -> None:
    # bins of both are 1 / 24 Hz apart: compare up to 15 kHz after the gain that the peak decides
    bins = 15_000 * 24
    here = np.fft.rfft(played, axis=0)[:bins] / RATE
    there = np.fft.rfft(evening(rate), axis=0)[:bins] / rate
    gain = np.vdot(here, there).real / np.vdot(here, here).real
    assert abs(20 * np.log10(gain)) < 0.2
    assert np.linalg.norm(there / gain - here) < 1e-3 * np.linalg.norm(here)


def test_partials_above_what_the_lowest_rate_carries_are_dropped() -> None:
    # 0.45 of the rate; what is left above is the edge of the sharpest strikes (1 ms)
    rate = 44_100
    above = power_between(evening(rate), 19_900, rate / 2, rate)
    assert above < 1e-7 * power_between(evening(rate), 0, rate / 2, rate)


@pytest.mark.parametrize("rate", [22_050, 44_056, 200_000])
def test_refuses_rates_that_do_not_suit(rate: int) -> None:
    with pytest.raises(ValueError, match=rf"{rate} Hz .* from 44100 to 192000 Hz"):
        synthesise(rate)
