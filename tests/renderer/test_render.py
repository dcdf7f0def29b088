"""Rendered files against a double-precision reference, the source, and each other."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.circuit.solution import ACROSS, solve
from auralize.filters.fir import design_run
from auralize.gains import LOUDNESS, Match
from auralize.outputs import sidecar
from auralize.renderer import take
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.rig.reading import load_rig

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
LSB_24 = 2.0**-23
ALL = ("receiving", "drop", "sending")


@pytest.fixture(scope="module")
def choices():
    return load_rig(RIG).pick(["reel", "bought"])


def noise(path, seconds=1.5, rate=48_000, channels=2, subtype="PCM_24", level=0.2, seed=3):
    samples = np.random.default_rng(seed).normal(0, level / 2, (round(seconds * rate), channels))
    sf.write(path, np.clip(samples, -level * 2, level * 2), rate, subtype)
    return path


def read(path):
    return sf.read(path, dtype="float64", always_2d=True)[0]


def by_name(done):
    return {(o.choice, o.signal): o for o in done.outputs}


def reference(source, choice, signal, rate):
    """The whole convolution at once, in double precision, delay taken out."""
    fir = getattr(design_run(choice.network, choice.listen, rate), signal)
    columns = [np.convolve(column, fir.taps) for column in read(source).T]
    return np.stack(columns, axis=1)[fir.delay :][: len(read(source))]


def test_within_two_steps_of_24_bit_from_the_reference(tmp_path, choices):
    source = noise(tmp_path / "noise.wav")
    done = by_name(render(source, choices, tmp_path, RenderOptions(signals=ALL, makeup=0.0)))
    for choice in choices:
        for signal in ALL:
            output = done[choice.name, signal]
            assert output.gains.total == 0.0
            error = read(output.path) - reference(source, choice, signal, 48_000)
            assert np.max(np.abs(error)) <= 2 * LSB_24


def test_as_long_as_the_source_and_aligned_with_it(tmp_path, choices):
    source = noise(tmp_path / "noise.wav")
    done = by_name(render(source, choices, tmp_path))
    arrived = read(done["reel", "receiving"].path)
    assert arrived.shape == read(source).shape
    spectrum = np.fft.rfft(arrived[:, 0]) * np.fft.rfft(read(source)[:, 0]).conj()
    assert np.argmax(np.fft.irfft(spectrum)) == 0


def test_drop_and_receiving_add_up_to_sending(tmp_path, choices):
    source = noise(tmp_path / "noise.wav")
    done = by_name(render(source, choices, tmp_path, RenderOptions(signals=ALL, makeup=0.0)))
    for choice in choices:
        receiving, drop, sending = (read(done[choice.name, s].path) for s in ALL)
        # Half a step of rounding from each of three files.
        assert np.max(np.abs(receiving + drop - sending)) <= 1.5 * LSB_24 * (1 + 1e-6)
        assert np.max(np.abs(drop)) > 1000 * LSB_24


def test_over_plus_and_over_minus_add_up_to_over_both(tmp_path, choices):
    """A corroded plug in plus makes the two differ; 24 bit round each file by half a step."""
    source = noise(tmp_path / "noise.wav")
    corroded = load_rig(RIG.with_name("path.toml"))["corroded"]
    found = {}
    for across in ACROSS:
        wishes = RenderOptions(signals=("drop",), makeup=6.0, across=across)
        for output in render(source, [*choices, corroded], tmp_path, wishes).outputs:
            assert output.gains.total == 6.0
            found[output.choice, across] = read(output.path)
    for choice in ("reel", "bought", "corroded"):
        both, plus, minus = (found[choice, across] for across in ACROSS)
        assert np.max(np.abs(plus + minus - both)) <= 2 * LSB_24
        assert np.max(np.abs(both)) > 1000 * LSB_24
    plus, minus = found["corroded", "plus"], found["corroded", "minus"]
    assert np.max(np.abs(plus)) > 1.2 * np.max(np.abs(minus))


def test_name_comment_and_sidecar_say_which_conductor(tmp_path, choices):
    source = noise(tmp_path / "noise.wav", 0.5)
    for across, kind, words in (
        ("both", "drop", "drop, choice reel; gain"),
        ("plus", "drop-plus", "drop over plus, choice reel; gain"),
        ("minus", "drop-minus", "drop over minus, choice reel; gain"),
    ):
        done = render(source, choices[:1], tmp_path / across, RenderOptions(across=across))
        arrived, dropped = done.outputs
        beside = "" if across == "both" else f".with-{kind}"
        assert [o.path.name for o in done.outputs] == [
            f"noise.reel.receiving{beside}.wav",
            f"noise.reel.{kind}.wav",
        ]
        assert sf.SoundFile(dropped.path).comment.startswith(words)
        assert sf.SoundFile(arrived.path).comment.startswith("receiving end, choice reel; gain")
        told = [json.loads(sidecar(o.path).read_text())["drop_across"] for o in done.outputs]
        assert told == [None, across]


def test_each_conductor_has_a_dither_of_its_own(tmp_path, choices):
    """What two files share would not be heard as noise between them: here the drops are the same."""
    source = noise(tmp_path / "noise.wav", 0.5, subtype="PCM_16")
    plus, minus = (
        read(render(source, choices[:1], tmp_path, RenderOptions(across=a)).outputs[1].path)
        for a in ("plus", "minus")
    )
    assert 0.0 < np.max(np.abs(plus - minus)) <= 4 * 2.0**-15


@pytest.mark.parametrize("block", [1, 64, 65, 128, 8192, 8193])
def test_same_bytes_whatever_the_block_size(tmp_path, choices, monkeypatch, block):
    seconds = 0.05 if block == 1 else 0.8
    source = noise(tmp_path / "noise.wav", seconds, subtype="PCM_16")
    (tmp_path / "whole").mkdir()
    whole = render(source, choices, tmp_path / "whole")
    monkeypatch.setattr(take, "BLOCK", block)
    cut = render(source, choices, tmp_path)
    for a, b in zip(whole.outputs, cut.outputs, strict=True):
        assert a.path.read_bytes() == b.path.read_bytes()


@pytest.mark.parametrize("frames", [1, 2, 100, 255, 256, 257, 3000])
def test_very_short_programmes(tmp_path, choices, frames):
    sf.write(tmp_path / "short.wav", np.full((frames, 1), 0.25), 48_000, "PCM_24")
    done = render(tmp_path / "short.wav", choices, tmp_path)
    assert all(len(read(o.path)) == frames for o in done.outputs)


def test_tail_is_the_decay_that_the_programme_leaves(tmp_path, choices):
    source = noise(tmp_path / "noise.wav", 0.3)
    plain = by_name(render(source, choices, tmp_path, RenderOptions(signals=("drop",), makeup=0.0)))
    short = read(plain["reel", "drop"].path)
    longer = by_name(
        render(source, choices, tmp_path, RenderOptions(signals=("drop",), makeup=0.0, tail=0.1))
    )
    long = read(longer["reel", "drop"].path)
    assert len(long) == len(short) + 4800
    np.testing.assert_array_equal(long[: len(short)], short)
    assert np.max(np.abs(long[len(short) :])) > 100 * LSB_24
    assert np.max(np.abs(long[-480:])) < 0.01 * np.max(np.abs(long[len(short) :]))


def test_matched_in_loudness(tmp_path, choices):
    pyloudnorm = pytest.importorskip("pyloudnorm")
    source = noise(tmp_path / "noise.wav", 4.0)
    done = render(source, choices, tmp_path, RenderOptions(match=LOUDNESS))
    meter = pyloudnorm.Meter(48_000)
    wanted = meter.integrated_loudness(read(source))
    for output in done.outputs:
        if output.signal == "receiving":
            measured = meter.integrated_loudness(read(output.path))
            assert measured - output.gains.headroom == pytest.approx(wanted, abs=0.05)
            assert measured == pytest.approx(output.loudness, abs=0.05)


def test_matched_at_a_frequency(tmp_path, choices):
    t = np.arange(48_000) / 48_000
    sf.write(tmp_path / "tone.wav", 0.1 * np.sin(2 * np.pi * 4000 * t), 48_000, "PCM_24")
    done = render(tmp_path / "tone.wav", choices, tmp_path, RenderOptions(match=Match.at(4000.0)))
    for output in done.outputs:
        if output.signal == "receiving":
            middle = read(output.path)[12_000:36_000, 0]
            assert math.sqrt(2) * np.sqrt(np.mean(middle**2)) == pytest.approx(0.1, rel=1e-5)


def test_headroom_is_one_gain_for_all_and_holds_the_ceiling(tmp_path, choices):
    source = noise(tmp_path / "loud.wav", level=1.9)
    done = render(source, choices, tmp_path, RenderOptions(match=LOUDNESS, signals=ALL))
    headroom = {output.gains.headroom for output in done.outputs}
    assert len(headroom) == 1
    assert headroom.pop() < 0
    assert max(output.true_peak for output in done.outputs) == pytest.approx(-1.0, abs=1e-6)
    assert all(output.clipped == 0 for output in done.outputs)


def test_makeup_is_one_figure_for_all_drops_and_costs_no_headroom(tmp_path, choices):
    source = noise(tmp_path / "noise.wav", 2.0)
    done = render(source, choices, tmp_path)
    drops = [o for o in done.outputs if o.signal == "drop"]
    assert len({o.gains.makeup for o in drops}) == 1
    assert drops[0].gains.makeup == round(drops[0].gains.makeup) > 0
    assert drops[0].gains.headroom == 0.0
    # The loudest drop comes to within the last whole dB of the source.
    assert 0 <= done.source_loudness - max(o.loudness for o in drops) < 1


def test_what_stated_makeup_takes_from_all_is_known(tmp_path, choices):
    """Against what the same files are without it; a loud source needs headroom of its own."""
    source = noise(tmp_path / "loud.wav", level=1.9)
    plain = render(source, choices, tmp_path, RenderOptions(makeup=0.0))
    made = render(source, choices, tmp_path, RenderOptions(makeup=40.0))
    assert plain.outputs[0].gains.headroom < 0
    assert plain.softened == pytest.approx(0.0, abs=1e-9)
    softer = (
        by_name(plain)["reel", "receiving"].loudness - by_name(made)["reel", "receiving"].loudness
    )
    assert softer > 10.0
    assert made.softened == pytest.approx(softer, abs=1e-9)


def test_a_new_folder_is_made_and_goes_again_when_stopped(tmp_path, choices):
    source = noise(tmp_path / "noise.wav", 0.1)
    folder = tmp_path / "new" / "folder"
    done = []

    def stop(share):
        done.append(share)
        if share == 1.0:  # all is written, and nothing has its name yet
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        render(source, choices, folder, progress=stop)
    assert done[-1] == 1.0
    assert not (tmp_path / "new").exists()
    outputs = render(source, choices, folder).outputs
    assert all(output.path.parent == folder and output.path.is_file() for output in outputs)


def test_stated_makeup_is_applied(tmp_path, choices):
    source = noise(tmp_path / "noise.wav")
    plain = render(source, choices, tmp_path, RenderOptions(signals=("drop",), makeup=0.0))
    quiet = read(plain.outputs[0].path)
    made = render(source, choices, tmp_path, RenderOptions(signals=("drop",), makeup=12.0))
    loud = read(made.outputs[0].path)
    assert made.outputs[0].gains.total == 12.0
    assert np.max(np.abs(loud - 10 ** (12 / 20) * quiet)) <= 5 * LSB_24


def test_silence_stays_silent_and_is_given_no_gain(tmp_path, choices):
    sf.write(tmp_path / "silence.wav", np.zeros((48_000, 2)), 48_000, "PCM_24")
    done = render(tmp_path / "silence.wav", choices, tmp_path, RenderOptions(match=LOUDNESS))
    for output in done.outputs:
        assert output.gains.match == 0.0
        assert output.gains.headroom == 0.0
        assert not read(output.path).any()
        facts = json.loads(sidecar(output.path).read_text())
        assert facts["loudness_lufs"] is None


def test_gains_stand_in_sidecar_and_comment(tmp_path, choices):
    source = noise(tmp_path / "noise.wav", level=1.9)
    for suffix in (".wav", ".flac"):
        done = render(source, choices, tmp_path, RenderOptions(match=LOUDNESS, suffix=suffix))
        for output in done.outputs:
            facts = json.loads(sidecar(output.path).read_text())
            assert facts["gain_db"]["total"] == pytest.approx(output.gains.total, abs=1e-4)
            assert facts["gain_db"]["headroom"] < 0
            assert facts["signal"] == output.signal
            with sf.SoundFile(output.path) as file:
                assert f"gain {output.gains.total:+.2f} dB" in file.comment


@pytest.mark.parametrize("channels", range(1, 9))
def test_every_channel_goes_through_the_same_run(tmp_path, choices, channels):
    source = noise(tmp_path / "many.wav", 0.4, channels=channels)
    done = render(source, choices[:1], tmp_path, RenderOptions(signals=("drop",), makeup=0.0))
    wanted = reference(source, choices[0], "drop", 48_000)
    assert np.max(np.abs(read(done.outputs[0].path) - wanted)) <= 2 * LSB_24


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 96_000, 192_000])
def test_every_sample_rate(tmp_path, choices, rate):
    source = noise(tmp_path / "rate.wav", 0.1, rate=rate)
    done = render(source, choices[:1], tmp_path, RenderOptions(signals=("receiving",)))
    assert sf.info(done.outputs[0].path).samplerate == rate
    wanted = reference(source, choices[0], "receiving", rate)
    assert np.max(np.abs(read(done.outputs[0].path) - wanted)) <= 2 * LSB_24


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_bit_depth_is_kept(tmp_path, choices, subtype):
    source = noise(tmp_path / "deep.wav", 0.2, subtype=subtype)
    done = render(source, choices[:1], tmp_path)
    assert {sf.info(o.path).subtype for o in done.outputs} == {subtype}


def test_tones_come_out_with_the_loss_that_the_figures_state(tmp_path, choices):
    """The whole way: a tone's level and phase in the file against the solved circuit."""
    rate, seconds = 48_000, 1
    t = np.arange(rate * seconds) / rate
    for frequency in (40, 1000, 10_000, 18_000):
        tone = 0.25 * np.sin(2 * np.pi * frequency * t)
        sf.write(tmp_path / "tone.wav", tone, rate, "PCM_24")
        wishes = RenderOptions(makeup=0.0, replaces=True)
        done = by_name(render(tmp_path / "tone.wav", choices, tmp_path, wishes))
        for choice in choices:
            solution = solve(choice.network, [float(frequency)])
            for signal, wanted in (
                ("receiving", solution.receiving[choice.listen][0]),
                ("drop", solution.drop(choice.listen)[0]),
            ):
                late = slice(rate // 2, rate)  # whole periods, after the filter has settled
                turn = np.exp(-2j * np.pi * frequency * t[late])
                heard = 2j * np.mean(read(done[choice.name, signal].path)[late, 0] * turn) / 0.25
                assert abs(heard - wanted) <= 1e-5 * abs(wanted)


RECORDINGS = sorted(
    [
        *Path("/usr/share/sounds/alsa").glob("*.wav"),
        *Path("/usr/share/sounds/freedesktop").rglob("*.oga"),
    ]
)


@pytest.mark.skipif(
    len(RECORDINGS) < 5, reason="Debian's alsa-utils and sound-theme-freedesktop are not installed"
)
def test_recordings_that_others_made(tmp_path, choices):
    """Length, alignment and level of real files, the level against the spectrum times |H|."""
    for path in RECORDINGS[::5]:
        done = render(
            path, choices[:1], tmp_path, RenderOptions(signals=("receiving",), depth="FLOAT")
        )
        output = done.outputs[0]
        before, after = read(path), read(output.path)
        assert after.shape == before.shape
        size = 2 * len(before)
        spectrum = np.fft.rfft(before, size, axis=0)
        cross = (spectrum.conj() * np.fft.rfft(after, size, axis=0)).sum(axis=1)
        heard = np.abs(cross) > 1e-6 * np.max(
            np.abs(cross)
        )  # phases alone: bass would blur the peak
        assert (
            np.argmax(np.fft.irfft(np.where(heard, cross, 0) / np.maximum(np.abs(cross), 1e-300)))
            == 0
        )
        rate = done.source.rate
        frequency = np.fft.rfftfreq(size, 1 / rate)
        response = solve(choices[0].network, frequency).receiving[choices[0].listen]
        wanted = np.sum(np.abs(spectrum * response[:, None]) ** 2)
        tail = np.sum(np.abs(np.fft.rfft(after, size, axis=0)) ** 2) * 10 ** (
            -output.gains.total / 10
        )
        assert 10 * abs(math.log10(tail / wanted)) < 0.05
