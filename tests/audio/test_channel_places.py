"""Where channels belong: kept in results, and heeded in the loudness of surround programmes."""

import re
import shutil
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.audio import writer as audiowriter
from auralize.audio.header import channel_mask
from auralize.audio.loudness import LoudnessMeter, channel_weights
from auralize.audio.reader import probe
from auralize.audio.writer import AudioWriter
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.rig.reading import load_rig
from support.meters import RATE, Samples, fed

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"

# Masks of WAVE_FORMAT_EXTENSIBLE (values from memory), and weights by ITU-R BS.1770-4 Table 4:
# 1.41 for surrounds, 1 in front, none for the LFE. Those behind: common practice, no source.
LAYOUTS = {
    "mono": (0x4, [1]),
    "stereo": (0x3, [1, 1]),
    "quad": (0x33, [1, 1, 1.41, 1.41]),
    "4.0": (0x107, [1, 1, 1, 1.41]),
    "4.1": (0x10F, [1, 1, 1, 0, 1.41]),
    "5.0": (0x37, [1, 1, 1, 1.41, 1.41]),
    "5.1": (0x3F, [1, 1, 1, 0, 1.41, 1.41]),
    "5.1 side": (0x60F, [1, 1, 1, 0, 1.41, 1.41]),
    "6.0": (0x707, [1, 1, 1, 1.41, 1.41, 1.41]),
    "6.1": (0x70F, [1, 1, 1, 0, 1.41, 1.41, 1.41]),
    "7.0": (0x637, [1, 1, 1, 1.41, 1.41, 1.41, 1.41]),
    "7.1": (0x63F, [1, 1, 1, 0, 1.41, 1.41, 1.41, 1.41]),
    "7.1 wide": (0xFF, [1, 1, 1, 0, 1.41, 1.41, 1, 1]),
}
layouts = pytest.mark.parametrize(("mask", "weights"), list(LAYOUTS.values()), ids=list(LAYOUTS))


def noise(channels: int) -> Samples:
    """Four seconds in which each channel is 1.5 dB louder than the one before."""
    samples = np.random.default_rng(4).standard_normal((4 * RATE, channels))
    return 0.01 * samples * 10 ** (1.5 * np.arange(channels) / 20)


def written(path: Path, mask: int, channels: int, subtype: str = "PCM_24") -> Path:
    samples = noise(channels)
    with AudioWriter(path, RATE, channels, subtype, len(samples), mask=mask) as writer:  # type: ignore[arg-type]
        writer.write(samples)
    return path


@layouts
def test_the_mask_says_what_each_channel_weighs(mask: int, weights: list[float]) -> None:
    assert channel_weights(len(weights), mask).tolist() == weights


def test_a_mask_of_more_places_than_channels_is_heeded_as_far_as_they_go() -> None:
    assert channel_weights(3, 0x33).tolist() == [1, 1, 1.41]


def test_without_a_mask_it_is_as_it_was() -> None:
    assert channel_weights(5).tolist() == [1, 1, 1, 1.41, 1.41]
    assert channel_weights(6).tolist() == [1, 1, 1, 0, 1.41, 1.41]
    for channels in (1, 2, 3, 4, 7, 8):
        assert channel_weights(channels).tolist() == [1] * channels


@layouts
def test_the_meter_weighs_so(mask: int, weights: list[float]) -> None:
    """Against powers of single channels, added by hand; the gates pass all of steady noise."""
    samples = noise(len(weights))
    alone = [fed(LoudnessMeter(RATE, 1), samples[:, [c]]).integrated for c in range(len(weights))]
    power = sum(weight * 10 ** (level / 10) for weight, level in zip(weights, alone, strict=True))
    measured = fed(LoudnessMeter(RATE, len(weights), mask), samples).integrated
    assert measured == pytest.approx(10 * np.log10(power), abs=0.001)


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not installed")
@layouts
def test_it_agrees_with_another_meter(tmp_path: Path, mask: int, weights: list[float]) -> None:
    """ffmpeg's ebur128, which knows the layout from the file alone; to the three digits it prints."""
    path = written(tmp_path / "a.wav", mask, len(weights))
    chain = "ebur128=metadata=1,ametadata=mode=print:key=lavfi.r128.I:file=-"
    command = ["ffmpeg", "-v", "error", "-i", str(path), "-af", chain, "-f", "null", "-"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    theirs = float(re.findall(r"lavfi\.r128\.I=(\S+)", said)[-1])
    ours = fed(LoudnessMeter(RATE, len(weights), mask), noise(len(weights))).integrated
    assert ours == pytest.approx(theirs, abs=0.02)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("rf64", [False, True])
@layouts
def test_a_mask_makes_the_round_trip(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    mask: int,
    weights: list[float],
    subtype: str,
    rf64: bool,
) -> None:
    if rf64:
        monkeypatch.setattr(audiowriter, "RIFF_LIMIT", 1)
    path = written(tmp_path / "a.wav", mask, len(weights), subtype)
    monkeypatch.undo()
    info = probe(path)
    assert (info.mask, info.channels) == (mask, len(weights))
    assert info.format == ("RF64" if rf64 else "WAVEX")


def test_where_nothing_is_said_nothing_is_made_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """libsndfile would call six channels of an RF64 file 5.1."""
    assert probe(written(tmp_path / "a.wav", 0, 6)).format == "WAV"
    monkeypatch.setattr(audiowriter, "RIFF_LIMIT", 1)
    path = written(tmp_path / "b.wav", 0, 6)
    monkeypatch.undo()
    assert (probe(path).format, probe(path).mask) == ("RF64", 0)


@pytest.mark.parametrize("kind", ["W64", "RIFX"])
def test_a_mask_is_found_in_the_relatives_of_wav_too(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "a.w64"
    if kind == "W64":
        guid = bytes.fromhex("f3acd3118cd100c04f8edb8a")
        form = struct.pack("<HHIIHHHHI", 0xFFFE, 6, RATE, 0, 18, 24, 22, 24, 0x60F) + bytes(16)
        path.write_bytes(
            b"riff" + bytes(36) + b"fmt " + guid + struct.pack("<Q", 24 + len(form)) + form
        )
    else:
        form = struct.pack(">HHIIHHHHI", 0xFFFE, 6, RATE, 0, 18, 24, 22, 24, 0x60F) + bytes(16)
        path.write_bytes(b"RIFX" + bytes(8) + b"fmt " + struct.pack(">I", len(form)) + form)
    assert channel_mask(path) == 0x60F


@pytest.mark.parametrize("layout", ["5.1 side", "7.1"])
def test_a_render_keeps_the_places_and_measures_by_them(tmp_path: Path, layout: str) -> None:
    mask, weights = LAYOUTS[layout]
    source = written(tmp_path / "tide.wav", mask, len(weights))
    done = render(
        source, load_rig(RIG).pick(["reel"]), tmp_path, RenderOptions(signals=("receiving",))
    )
    expected = fed(LoudnessMeter(RATE, len(weights), mask), noise(len(weights))).integrated
    assert done.source_loudness == pytest.approx(expected, abs=0.001)
    for output in done.outputs:
        assert probe(output.path).mask == mask
        samples = sf.read(output.path, always_2d=True)[0]
        measured = fed(LoudnessMeter(RATE, len(weights), mask), samples).integrated
        assert output.loudness == pytest.approx(measured, abs=0.001)


def test_a_programme_of_low_frequency_effects_alone_has_no_loudness() -> None:
    assert fed(LoudnessMeter(RATE, 1, 0x8), noise(1)).integrated == -np.inf
