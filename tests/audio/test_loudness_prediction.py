"""Loudness through a response, predicted from the energies of the bands, against what was filtered."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy import signal

from auralize.audio.band_loudness import BandEnergies, BandMeter
from auralize.audio.loudness import k_weighting
from auralize.units import amplitude, decibels
from support.meters import RATE, Samples, faded, fed, loudness, pink, uneven, white


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
