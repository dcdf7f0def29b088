"""Excerpts, mono, the source beside the results, and several sound files in one go."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.errors import AudioFileError, RequestError
from auralize.gains import LOUDNESS
from auralize.outputs import InTheWayError
from auralize.renderer import files
from auralize.renderer.batch import render_all, sounds_in
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.renderer.take import FADE, Excerpt, Take
from auralize.rig.reading import load_rig

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE = 48_000
FIXED = {"makeup": 0.0, "depth": "DOUBLE"}


@pytest.fixture(scope="module")
def choices():
    return load_rig(RIG).pick(["reel"])


def noise(path: Path, seconds: float = 1.0, channels: int = 2, peak: float = 0.1) -> Path:
    samples = np.random.default_rng(len(path.name)).uniform(
        -peak, peak, (round(seconds * RATE), channels)
    )
    sf.write(path, samples, RATE, "DOUBLE")
    return path


def heard(done) -> dict[str, np.ndarray]:
    return {o.signal: sf.read(o.path, always_2d=True)[0] for o in done.outputs}


# --- excerpts -------------------------------------------------------------------------------------


@pytest.mark.parametrize("start", [0.0, 0.1, 0.7])
@pytest.mark.parametrize("seconds", [None, 0.2, 0.7000001, 9.0])
def test_an_excerpt_is_the_rendered_cut_but_for_its_fades(tmp_path, choices, start, seconds):
    """A filter is linear: it adds to the cut, rendered, what it makes of the little that the fades take."""
    source = noise(tmp_path / "tide.wav")
    whole, _ = sf.read(source)
    first = round(start * RATE)
    last = len(whole) if seconds is None else min(len(whole), first + round(seconds * RATE))
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(round(FADE * RATE)) + 0.5) / round(FADE * RATE))
    cut = whole[first:last].copy()
    if first > 0:
        cut[: len(ramp)] *= ramp[:, None]
    if last < len(whole):
        cut[-len(ramp) :] *= ramp[::-1, None]
    sf.write(tmp_path / "cut.wav", cut, RATE, "DOUBLE")
    excerpt = Excerpt(start, seconds)
    got = heard(render(source, choices, tmp_path / "a", RenderOptions(**FIXED, excerpt=excerpt)))
    wanted = heard(render(tmp_path / "cut.wav", choices, tmp_path / "b", RenderOptions(**FIXED)))
    for signal in ("receiving", "drop"):
        assert got[signal].shape == wanted[signal].shape
        np.testing.assert_allclose(got[signal], wanted[signal], rtol=0, atol=1e-15)


def test_in_the_midst_of_an_excerpt_the_source_is_as_it_was(tmp_path):
    source = noise(tmp_path / "tide.wav")
    whole, _ = sf.read(source)
    got = np.concatenate(list(Take.of(source, Excerpt(0.25, 0.5)).blocks()))
    fade = round(FADE * RATE)
    np.testing.assert_array_equal(got[fade:-fade], whole[12_000 + fade : 36_000 - fade])
    assert np.abs(got[0]).max() < 1e-6


@pytest.mark.parametrize("seconds", [1e-9, 2 / RATE, 0.015])
def test_an_excerpt_shorter_than_its_fades_is_no_fault(tmp_path, choices, seconds):
    options = RenderOptions(excerpt=Excerpt(0.5, seconds))
    done = render(noise(tmp_path / "tide.wav"), choices, tmp_path, options)
    assert sf.info(done.outputs[0].path).frames == max(1, round(seconds * RATE))


@pytest.mark.parametrize(("begin", "end"), [(0, None), (0, 20_000), (5_000, 9_000), (100, 9_600)])
@pytest.mark.parametrize("suffix", [".flac", ".wav"])
def test_a_part_of_an_excerpt_is_the_same_of_what_is_decoded_from_its_first_frame_on(
    tmp_path, begin, end, suffix
):
    """More than one block is read before it begins, and none of what lies behind it is given."""
    whole = np.random.default_rng(5).integers(-(2**15), 2**15, 2 * RATE).astype(np.int16)
    sf.write(tmp_path / f"tide{suffix}", whole, RATE, "PCM_16")
    take = Take.of(tmp_path / f"tide{suffix}", Excerpt(0.9, 0.2))
    fade = np.ones(9_600)
    ramp = np.sin(0.5 * np.pi * (np.arange(480) + 0.5) / 480) ** 2
    fade[:480], fade[-480:] = ramp, ramp[::-1]
    wanted = (fade * whole[43_200:52_800] / 2.0**15)[begin:end]
    got = np.concatenate(list(take.blocks(begin=begin, end=end)))[:, 0]
    np.testing.assert_allclose(got, wanted, rtol=0, atol=1e-12)


@pytest.mark.parametrize("frames", [3, 720, 959])
def test_fades_of_a_short_excerpt_meet_in_its_midst(tmp_path, frames):
    sf.write(tmp_path / "tide.wav", np.full(RATE, 0.5), RATE, "DOUBLE")
    take = Take.of(tmp_path / "tide.wav", Excerpt(0.5, frames / RATE))
    (got,) = (block[:, 0] for block in take.blocks())
    half = frames // 2
    ramp = 0.5 * np.sin(0.5 * np.pi * (np.arange(half) + 0.5) / half) ** 2
    midst = [0.5] * (frames % 2)
    np.testing.assert_allclose(got, [*ramp, *midst, *ramp[::-1]], rtol=0, atol=1e-12)


def test_a_source_that_changes_at_its_last_block_is_refused(tmp_path):
    take = Take.of(noise(tmp_path / "tide.wav", 0.1), Excerpt(0.05))
    blocks = take.blocks()
    assert len(next(blocks)) == take.frames
    noise(tmp_path / "tide.wav", 0.1)
    with pytest.raises(AudioFileError, match="changed or replaced"):
        next(blocks)


def test_an_excerpt_after_the_end_is_refused(tmp_path, choices):
    with pytest.raises(AudioFileError, match=r"ends at 0:01\.000; an excerpt must begin before"):
        render(noise(tmp_path / "tide.wav"), choices, tmp_path, RenderOptions(excerpt=Excerpt(1.0)))


def test_mono_is_the_mean_of_all_channels(tmp_path, choices):
    source = noise(tmp_path / "tide.wav", channels=3)
    sf.write(tmp_path / "mean.wav", sf.read(source)[0].mean(axis=1), RATE, "DOUBLE")
    mono = RenderOptions(**FIXED, excerpt=Excerpt(mono=True))
    got = heard(render(source, choices, tmp_path / "a", mono))
    wanted = heard(render(tmp_path / "mean.wav", choices, tmp_path / "b", RenderOptions(**FIXED)))
    for signal in ("receiving", "drop"):
        np.testing.assert_allclose(got[signal], wanted[signal], rtol=0, atol=1e-16)


# --- the source beside ----------------------------------------------------------------------------


def test_the_source_is_written_with_the_headroom_of_the_results(tmp_path, choices):
    """Near full scale and made up by 30 dB: all share what that costs."""
    source = noise(tmp_path / "tide.wav", peak=0.9)
    options = RenderOptions(source=True, makeup=30.0, match=LOUDNESS, tail=0.1, depth="DOUBLE")
    done = render(source, choices, tmp_path / "a", options)
    gains = {o.signal: o.gains for o in done.outputs}
    assert gains["source"].total == gains["receiving"].headroom == gains["drop"].headroom < -3.0
    wanted = np.vstack([sf.read(source)[0], np.zeros((4800, 2))]) * 10 ** (
        gains["source"].total / 20
    )
    np.testing.assert_allclose(heard(done)["source"], wanted, rtol=0, atol=1e-14)
    assert [o.path.name.split(".")[1] for o in done.outputs] == ["reel", "reel", "source"]


# --- several files --------------------------------------------------------------------------------


def test_filters_are_designed_once_for_a_rate(tmp_path, choices, monkeypatch):
    made = []
    design = files.design_run
    monkeypatch.setattr(files, "design_run", lambda *what: made.append(what[2]) or design(*what))
    sources = [noise(tmp_path / f"{name}.wav", 0.1) for name in "abc"]
    sf.write(tmp_path / "d.wav", np.zeros(4410), 44_100)
    batch = render_all([*sources, tmp_path / "d.wav"], choices, tmp_path / "out", RenderOptions())
    assert (len(batch.done), batch.failed) == (4, [])
    assert made == [48_000, 44_100]


def test_one_of_several_is_the_same_as_alone(tmp_path, choices):
    sources = [noise(tmp_path / f"{name}.wav", 0.1) for name in ("a", "bb")]
    shares = []
    render_all(sources, choices, tmp_path / "all", RenderOptions(), shares.append)
    render(sources[1], choices, tmp_path / "one")
    for path in (tmp_path / "one").iterdir():
        assert (tmp_path / "all" / path.name).read_bytes() == path.read_bytes()
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)


def test_what_fails_does_not_stop_the_rest(tmp_path, choices):
    good = [noise(tmp_path / f"{name}.wav", 0.1) for name in "ac"]
    (tmp_path / "b.wav").write_text("no sound")
    samples = np.full(RATE // 10, 0.1)
    samples[-1] = np.nan
    sf.write(tmp_path / "d.wav", samples, RATE, "FLOAT")
    sources = sounds_in([tmp_path])
    assert [path.name for path in sources] == ["a.wav", "b.wav", "c.wav", "d.wav"]
    batch = render_all(sources, choices, tmp_path / "out", RenderOptions())
    assert [done.source.path for done in batch.done] == good
    assert [path.name for path, _ in batch.failed] == ["b.wav", "d.wav"]
    assert "not a sound file" in batch.failed[0][1]
    assert "NaN" in batch.failed[1][1]
    left = {path.name.partition(".")[0] for path in (tmp_path / "out").iterdir()}
    assert left == {"a", "c"}


def test_a_file_in_the_way_stops_all_before_anything_is_done(tmp_path, choices):
    sources = [noise(tmp_path / f"{name}.wav", 0.1) for name in "ab"]
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "b.reel.drop.wav").write_text("a recording")
    with pytest.raises(InTheWayError, match=r"b\.reel\.drop\.wav"):
        render_all(sources, choices, tmp_path / "out", RenderOptions())
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["b.reel.drop.wav"]


def test_where_nothing_comes_of_it_the_folder_goes(tmp_path, choices):
    for name in "ab":
        (tmp_path / f"{name}.wav").write_text("no sound")
    batch = render_all(sounds_in([tmp_path]), choices, tmp_path / "out", RenderOptions())
    assert len(batch.failed) == 2
    assert not (tmp_path / "out").exists()


def test_a_folder_gives_its_sounds_and_none_of_our_results(tmp_path, choices):
    noise(tmp_path / "b.wav", 0.1)
    sf.write(tmp_path / "A.flac", np.zeros(RATE // 10), RATE)
    (tmp_path / "notes.txt").write_text("not a sound")
    (tmp_path / "below").mkdir()
    noise(tmp_path / "below" / "c.wav", 0.1)
    noise(tmp_path / ".hidden.wav", 0.1)
    before = sounds_in([tmp_path])
    assert [path.name for path in before] == ["A.flac", "b.wav"]
    render_all(before, choices, tmp_path, RenderOptions(source=True))
    assert sounds_in([tmp_path, tmp_path / "b.wav"]) == before
    with pytest.raises(RequestError, match="folder without sound files"):
        sounds_in([tmp_path / "below", RIG.parents[1] / "auralize"])


def test_files_whose_results_would_have_the_same_names_are_refused(tmp_path):
    noise(tmp_path / "a.wav", 0.1)
    sf.write(tmp_path / "a.flac", np.zeros(100), RATE)
    with pytest.raises(RequestError, match=r"a\.wav: its results would be called as those of"):
        sounds_in([tmp_path])
