"""Noise against the definitions of pink and white, IEC 61260-1 bands and IEC 60268-1's own filter."""

import hashlib

import numpy as np
import pytest
from scipy import signal, stats

from auralize.audio.noise import CENTRES, PROGRAMME, around, period, period_frames

RATES = (44_100, 48_000, 96_000)
EDGE = 10**0.05
"""A third octave of IEC 61260-1 (base ten) reaches from its centre over this to its centre times this."""


def bands(samples, rate):
    """dB of the third octaves of IEC 61260-1 that the rate has whole, by Welch's mean of periodograms.

    Hann windows of 1.4 s, half overlapped: lines 0.7 Hz apart, seven in the narrowest band.
    """
    frequency, density = signal.welch(samples, rate, nperseg=1 << round(np.log2(1.4 * rate)))
    step = frequency[1]
    levels = []
    for centre in CENTRES[rate / 2 > CENTRES * EDGE]:
        # Each line stands for half a step to either side: so much of it lies in the band.
        low, high = centre / EDGE, centre * EDGE
        share = np.minimum(high, frequency + step / 2) - np.maximum(low, frequency - step / 2)
        levels.append(10 * np.log10(np.sum(density * np.clip(share, 0, None))))
    return np.array(levels)


def filtered(samples, rate, centre):
    """dB of one third octave through a Butterworth filter of order 8, by the way of IEC 61260-1."""
    sos = signal.butter(4, [centre / EDGE, centre * EDGE], "bandpass", fs=rate, output="sos")
    return 10 * np.log10(np.mean(signal.sosfilt(sos, samples)[rate:] ** 2))


@pytest.mark.parametrize("rate", RATES)
def test_pink_noise_has_as_much_power_in_each_third_octave(rate):
    """Which is -3 dB an octave in each Hz. Two Hann windows wide, the lowest bands leak 0.3 dB."""
    levels = bands(period("pink", rate, 1)[:, 0], rate)
    assert levels - np.mean(levels) == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("rate", RATES)
def test_by_its_own_lines_each_third_octave_of_pink_noise_is_as_it_should_be(rate):
    """The power between the edges of each band, over a whole period, where nothing leaks."""
    samples = period("pink", rate, 1)[:, 0]
    power = np.abs(np.fft.rfft(samples)) ** 2
    frequency = np.fft.rfftfreq(len(samples), 1 / rate)
    levels = np.array(
        [
            10 * np.log10(power[(frequency >= c / EDGE) & (frequency < c * EDGE)].sum())
            for c in CENTRES[:-1]
        ]
    )
    # 0.04 Hz from line to line in the 4.6 Hz of the lowest band: 1 % of it, 0.04 dB.
    assert levels - np.mean(levels) == pytest.approx(0.0, abs=0.05)


def test_pink_noise_through_third_octave_filters_is_even():
    """Another method; 21 s of a band of 46 Hz have a spread of 0.14 dB, of 4.6 Hz of 0.45 dB."""
    samples = period("pink", 48_000, 1)[:, 0]
    found = [filtered(samples, 48_000, centre) for centre in CENTRES[10::4]]
    assert found - np.mean(found) == pytest.approx(0.0, abs=0.4)


def test_white_noise_has_as_much_power_in_each_hertz():
    """So each third octave has 1 dB more than the one below it (a tenth of a decade)."""
    levels = bands(period("white", 48_000, 1)[:, 0], 48_000)
    slope = levels - np.arange(len(levels))
    assert slope - np.mean(slope) == pytest.approx(0.0, abs=0.8)  # 70 lines in the lowest band
    assert slope[10:] - np.mean(slope[10:]) == pytest.approx(0.0, abs=0.1)


def ladder(frequency):
    """|H|^2 of the filter that makes this noise of pink noise: IEC 60268-1:1985, figure 2.

    As the open-source library phonometry describes it, and solved here as a chain of two-ports:
    430 ohm and 2.2 uF in series, 3.3 kohm and 91 nF across; 330 ohm and 2.2 uF, 3.3 kohm and 68 nF;
    0.47 uF into 10 kohm.
    """
    s = 2j * np.pi * frequency
    one, nothing = np.ones_like(s), np.zeros_like(s)

    def series(impedance):
        return np.array([[one, impedance], [nothing, one]])

    def across(admittance):
        return np.array([[one, nothing], [admittance, one]])

    chain = [
        series(430 + 1 / (s * 2.2e-6)),
        across(1 / 3300 + s * 91e-9),
        series(330 + 1 / (s * 2.2e-6)),
        across(1 / 3300 + s * 68e-9),
        series(1 / (s * 0.47e-6)),
        across(one / 10e3),
    ]
    whole = chain[0]
    for part in chain[1:]:
        whole = np.einsum("ijf,jkf->ikf", whole, part)
    return 1 / np.abs(whole[0, 0]) ** 2


TOLERANCE = [3, 2, 1, 1, 1, 1, 1, 0.8, 0.6, *[0.5] * 8, 0.6, 0.7, 0.8, *[1] * 8, 1.5, 2, 3]
"""dB either way by third octave, of the same table, as the same library has it."""


def test_programme_noise_is_what_the_filter_of_the_standard_makes_of_pink_noise():
    """Within the table's own tolerances for one level of the whole; its 0 dB is no level of its own."""
    within = CENTRES[:, None] * EDGE ** np.linspace(-1, 1, 41)  # the pink noise of each band
    circuit = 10 * np.log10(ladder(within.ravel()).reshape(within.shape).mean(axis=1))
    room = np.array(TOLERANCE)
    least, most = PROGRAMME - room - circuit, PROGRAMME + room - circuit
    assert len(TOLERANCE) == len(PROGRAMME)
    assert least.max() < most.min()


def test_programme_noise_has_the_third_octaves_of_the_table():
    levels = bands(period("programme", 48_000, 1)[:, 0], 48_000)
    wanted = np.array(PROGRAMME)
    error = (levels - np.mean(levels)) - (wanted - np.mean(wanted))
    assert error[3:] == pytest.approx(0.0, abs=0.3)
    assert error == pytest.approx(0.0, abs=0.8)  # bands of 5 to 8 Hz leak through a Hann window


def test_the_whole_of_programme_noise_is_12_5_db_above_the_middle_bands():
    """Note to clause 7 of IEC 60268-1:1985, as phonometry quotes it: 'about 12,5 dB'."""
    assert 10 * np.log10(np.sum(10 ** (np.array(PROGRAMME) / 10))) == pytest.approx(12.5, abs=0.1)


@pytest.mark.parametrize("shape", ["white", "pink", "programme"])
@pytest.mark.parametrize("rate", [8_000, 48_000])
def test_noise_has_an_rms_of_1_no_direct_current_and_gaussian_amplitudes(shape, rate):
    samples = period(shape, rate, 1)[:, 0]
    assert np.sqrt(np.mean(samples**2)) == pytest.approx(1.0, rel=1e-12)
    assert abs(np.mean(samples)) < 1e-12
    # Skewness and excess kurtosis of a Gaussian are 0. Pink noise has few lines in its lowest octaves,
    # so they spread wider than those of independent samples.
    assert stats.skew(samples) == pytest.approx(0.0, abs=0.05)
    assert stats.kurtosis(samples) == pytest.approx(0.0, abs=0.1)
    assert 12.0 < 20 * np.log10(np.abs(samples).max()) < 16.0


def test_a_period_goes_over_into_the_next_without_a_seam():
    """The steps over the seam are no larger than those anywhere."""
    table = period("pink", 48_000, 1)
    frames = period_frames(48_000)
    over = around(table, 3 * frames - 1000, 2000)
    assert np.array_equal(over[:1000], table[-1000:])
    assert np.array_equal(over[1000:], table[:1000])
    assert abs(over[1000, 0] - over[999, 0]) < np.abs(np.diff(table[:, 0])).max()


def test_the_same_noise_comes_at_twice_the_rate():
    slow, fast = period("pink", 48_000, 1), period("pink", 96_000, 1)
    # Both go up to 22.4 kHz and have the same lines and phases.
    assert fast[::2] == pytest.approx(slow, abs=1e-9)


def test_the_phases_are_those_of_the_bit_generator_that_numpy_promises_to_keep():
    """Fixed here, so that logs of sessions on noise keep meaning the same noise."""
    raw = np.random.Philox(key=1).random_raw(4)
    digest = hashlib.sha256(raw.astype("<u8").tobytes()).hexdigest()
    assert digest[:16] == "a57e066eb64688ab"
