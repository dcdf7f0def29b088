"""How often a source is gone through; that precision is kept at any level."""

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.audio.writer import AudioWriter
from auralize.filters.fir import design_run
from auralize.gains import LOUDNESS
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.renderer.stretch import Maker, Making, Outlet, Stretch
from auralize.renderer.take import Excerpt, Take
from auralize.rig.reading import load_rig

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE = 48_000
LSB_24 = 2.0**-23
ARRIVES = RenderOptions(signals=("receiving",))


@pytest.fixture(scope="module")
def reel():
    return load_rig(RIG).pick(["reel"])


@pytest.fixture
def gone_through(monkeypatch):
    """Of every source, once for each time that its samples are asked for."""
    blocks, found = Take.blocks, []

    def counted(self, *rest):
        found.append(self.info.path)
        return blocks(self, *rest)

    monkeypatch.setattr(Take, "blocks", counted)
    return found


def tone(path, level, frequency=1000.0, frames=2 * RATE, subtype="PCM_24"):
    t = np.arange(frames) / RATE
    both = [np.sin(2 * np.pi * frequency * t), np.cos(2 * np.pi * 0.7 * frequency * t)]
    sf.write(path, level * np.stack(both, axis=1), RATE, subtype)
    return path


@pytest.mark.parametrize(
    ("level", "options", "passes"),
    [
        (0.5, ARRIVES, 1),
        (0.5, RenderOptions(makeup=6.0, source=True), 1),
        (0.5, RenderOptions(), 2),
        (0.5, RenderOptions(match=LOUDNESS), 2),
        (0.5, RenderOptions(makeup=40.0), 2),
        (1.0 - LSB_24, ARRIVES, 2),
    ],
)
def test_a_second_time_only_where_a_gain_follows_from_the_first(
    tmp_path, reel, gone_through, level, options, passes
):
    shares = []
    done = render(tone(tmp_path / "tone.wav", level), reel, tmp_path, options, shares.append)
    assert len(gone_through) == passes
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    for output in done.outputs:
        assert np.abs(sf.read(output.path)[0]).max() < 10 ** (-1 / 20) + LSB_24
        assert sf.info(output.path).frames == 2 * RATE
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_written_at_once_it_is_what_a_second_pass_would_have_written(tmp_path, reel):
    source = tone(tmp_path / "tone.wav", 0.5)
    by_figure, chosen = (
        render(source, reel, tmp_path / str(makeup), RenderOptions(makeup=makeup)).outputs[0]
        for makeup in (3.0, None)
    )
    assert by_figure.gains == chosen.gains
    assert np.array_equal(sf.read(by_figure.path)[0], sf.read(chosen.path)[0])


@pytest.mark.parametrize("signal", ["receiving", "drop"])
@pytest.mark.parametrize("level", [0.1, 0.88])
@pytest.mark.parametrize("frequency", [50.0, 1000.0, "square"])
def test_loud_sounds_are_as_exact_as_soft_ones(tmp_path, reel, signal, level, frequency):
    """Two steps of 24 bit, as the others are held to, up to the ceiling and with a drop made up."""
    source = tmp_path / "tone.wav"
    if frequency == "square":
        samples = level * np.sign(np.sin(2 * np.pi * np.arange(RATE) / 480.5))
        sf.write(source, samples, RATE, "PCM_24")
    else:
        tone(source, level, frequency, RATE)
    options = RenderOptions(signals=(signal,), makeup=14.0)
    (output,) = render(source, reel, tmp_path, options).outputs
    fir = getattr(design_run(reel[0].network, reel[0].listen, RATE), signal)
    taken = sf.read(source, always_2d=True)[0]
    whole = np.stack([np.convolve(lane, fir.taps) for lane in taken.T], axis=1)
    wanted = 10 ** (output.gains.total / 20) * whole[fir.delay :][: len(taken)]
    found = sf.read(output.path, always_2d=True)[0]
    assert np.abs(found - wanted).max() <= 2 * LSB_24


def test_double_precision_is_kept_where_it_is_asked_for(tmp_path, reel):
    """In one pass and in double; single precision would be off by 1e-8."""
    source = tmp_path / "noise.wav"
    taken = np.random.default_rng(7).uniform(-0.1, 0.1, RATE)
    sf.write(source, taken, RATE, "DOUBLE")
    options = RenderOptions(signals=("receiving",), makeup=0.0, depth="DOUBLE")
    (output,) = render(source, reel, tmp_path, options).outputs
    fir = design_run(reel[0].network, reel[0].listen, RATE).receiving
    wanted = 10 ** (output.gains.total / 20) * np.convolve(taken, fir.taps)[fir.delay :][:RATE]
    # Rounding of transforms: some 2**-52 for each of 20 stages.
    np.testing.assert_allclose(sf.read(output.path)[0], wanted, rtol=0, atol=1e-14)


@pytest.mark.parametrize("measures", [False, True])
def test_only_where_gains_are_still_open_a_peak_asks_for_another_pass(tmp_path, reel, measures):
    take = Take.of(tone(tmp_path / "tone.wav", 0.9, frames=RATE), Excerpt())
    fir = design_run(reel[0].network, reel[0].listen, RATE).receiving
    making = Making(take, [fir], [2.0], RATE, False, measures)
    with AudioWriter(tmp_path / "out.wav", RATE, 2, "PCM_24", RATE) as writer:
        made = Maker(making).make(Stretch(0, RATE, True), {0: Outlet(writer, 2.0)})
    assert made.passed is measures
