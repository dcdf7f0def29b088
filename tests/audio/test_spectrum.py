"""The spectrum of a programme in third octaves, against closed forms."""

import numpy as np
import pytest
import soundfile as sf

from auralize.audio.bands import THIRD_OCTAVES
from auralize.audio.spectrum import WINDOW, third_octaves
from auralize.errors import AudioFileError


@pytest.fixture
def spectrum(tmp_path):
    """Spectrum of samples, by band."""

    def of(samples, rate=48_000):
        path = tmp_path / "programme.wav"
        sf.write(path, samples, rate, subtype="DOUBLE")
        centres, levels = third_octaves(path)
        return dict(zip(centres, levels, strict=True))

    return of


def tone(frequency, amplitude=0.1, seconds=4.0, rate=48_000):
    return amplitude * np.sin(2 * np.pi * frequency * np.arange(round(seconds * rate)) / rate)


def test_a_tone_is_in_its_band_alone(spectrum):
    """IEC 61260-1: the band round 1 kHz reaches from 891 Hz to 1122 Hz."""
    for frequency, band in ((900.0, 1e3), (1110.0, 1e3), (1140.0, 1250.0), (880.0, 800.0)):
        found = spectrum(tone(frequency))
        assert max(found, key=found.get) == band
        # 31 dB: the first side lobe of a Hann window (Harris, Proc. IEEE 66 (1978), from memory).
        others = [level for centre, level in found.items() if abs(np.log(centre / band)) > 0.5]
        assert max(others) < found[band] - 31.0


def test_levels_are_powers(spectrum):
    found = spectrum(tone(1000.0, 0.2) + tone(4000.0, 0.02))
    assert found[1e3] - found[4e3] == pytest.approx(20.0, abs=0.01)  # side lobes of the louder


def test_white_noise_rises_by_a_decibel_a_band(spectrum):
    """As bands widen by 10^0.1 each (IEC 61260-1). 30 s: 4 sigma of the narrowest is 0.5 dB."""
    found = spectrum(np.random.default_rng(3).normal(0.0, 0.1, 30 * 48_000))
    bands = [c for c in THIRD_OCTAVES if 500.0 <= c <= 16e3]
    slope = np.polyfit(np.arange(len(bands)), [found[c] for c in bands], 1)[0]
    assert slope == pytest.approx(1.0, abs=0.02)
    # Nominal centres are up to 0.07 dB from the exact ones.
    ideal = found[8e3] + np.arange(len(bands)) - bands.index(8e3)
    assert np.allclose([found[c] for c in bands], ideal, atol=0.5)


def test_channels_add_up_in_power(spectrum):
    one, other = tone(1000.0), tone(2000.0)
    alone = spectrum(np.stack([one, 0 * one], axis=1))
    both = spectrum(np.stack([one, other], axis=1))
    assert both[1e3] == pytest.approx(alone[1e3], abs=1e-3)  # side lobes of the other
    assert both[2e3] == pytest.approx(both[1e3], abs=0.01)  # where the bins lie
    opposite = spectrum(np.stack([one, -one], axis=1))  # nothing, if samples were added
    assert opposite[1e3] - alone[1e3] == pytest.approx(20 * np.log10(2) / 2, abs=1e-6)


def test_the_whole_file_counts_and_a_short_one_too(spectrum):
    late = np.concatenate([np.zeros(20 * WINDOW), tone(1000.0)])
    assert spectrum(late)[1e3] == pytest.approx(
        spectrum(tone(1000.0))[1e3], abs=0.5
    )  # windows' edges
    short = spectrum(tone(1000.0, seconds=0.02))
    assert max(short, key=short.get) == 1e3


def test_bands_end_below_half_the_rate(spectrum):
    """A band that a file cannot hold whole is left out: 3150 Hz reaches 3534 Hz, 4000 Hz 4488 Hz."""
    assert max(spectrum(tone(1000.0, rate=8000), rate=8000)) == 3150.0
    assert max(spectrum(tone(1000.0))) == 20_000.0
    assert min(spectrum(tone(1000.0))) == 20.0


def test_the_lowest_bands_have_a_level_where_no_bin_lies_in_them(spectrum):
    """At 192 kHz bins lie 23.4 Hz apart: the bands of 20, 25 Hz have one neighbour, 23.4 Hz."""
    found = spectrum(tone(23.4375, rate=192_000), rate=192_000)
    assert found[20.0] == found[25.0]
    assert max(found.values()) == found[20.0]
    assert np.isfinite(list(found.values())).all()


def test_silence_has_no_level(spectrum):
    assert set(spectrum(np.zeros(48_000)).values()) == {-np.inf}


def test_what_is_no_sound_file_is_refused(tmp_path):
    path = tmp_path / "programme.wav"
    path.write_text("no sound")
    with pytest.raises(AudioFileError):
        third_octaves(path)
