"""A sound made stretch by stretch, by one process or several: the same as in one go."""

import os
import signal
import threading
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from dataclasses import replace
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.audio.loudness import LoudnessMeter
from auralize.audio.overlap_save import OverlapSave
from auralize.audio.portion import Portion
from auralize.errors import AudioFileError
from auralize.executors import WorkerError, _end_with_parent
from auralize.filters.fir import design_run
from auralize.filters.stream import max_taps
from auralize.gains import LOUDNESS
from auralize.outputs import sha256_of
from auralize.renderer import job, stretch
from auralize.renderer.batch import render_all
from auralize.renderer.files import render
from auralize.renderer.job import Job
from auralize.renderer.options import RenderOptions
from auralize.renderer.stretch import Maker, Making, Stretch
from auralize.renderer.take import Excerpt, Take
from auralize.rig.reading import load_rig
from support.meters import loudness, true_peak

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE = 48_000
LONG = 9.0
"""s: four stretches and a rest."""


@pytest.fixture(scope="module")
def reel():
    return load_rig(RIG).pick(["reel"])


@pytest.fixture
def stretches(monkeypatch):
    """How often one is made in this process; each is a single batch, of 2.2 s."""
    made, make = [], Maker.make

    def counted(self, *rest):
        made.append(rest[0])
        return make(self, *rest)

    monkeypatch.setattr(stretch, "STRETCH", 0.1)
    monkeypatch.setattr(Maker, "make", counted)
    return made


@pytest.fixture
def workers():
    with ProcessPoolExecutor(2, get_context("fork")) as pool:
        pool.submit(os.getpid).result()
        yield pool


def noise(path, subtype="PCM_24", level=0.1, channels=2, seconds=LONG):
    """With a click in its midst, and a swell: levels differ from stretch to stretch."""
    frames = round(seconds * RATE)
    sound = np.random.default_rng(4).normal(0.0, level, (frames, channels))
    sound *= np.linspace(0.3, 1.0, frames)[:, None]
    sound[frames // 2] = 0.7
    sf.write(path, np.rint(sound * 2**23).astype(np.int32) << 8, RATE, subtype)
    return path


def told(done):
    levels = [level for output in done.outputs for level in (output.loudness, output.true_peak)]
    return [done.source_loudness, done.source_true_peak, *levels]


def held(done):
    return [output.path.read_bytes() for output in done.outputs]


@pytest.mark.parametrize(
    ("subtype", "options"),
    [
        ("PCM_24", RenderOptions(signals=("receiving",))),
        ("PCM_16", RenderOptions()),
        ("PCM_24", RenderOptions(match=LOUDNESS, source=True, tail=3.0)),
        ("PCM_16", RenderOptions(makeup=3.0, excerpt=Excerpt(0.5, 7.0, mono=True))),
        ("FLOAT", RenderOptions(makeup=3.0, depth="PCM_24")),
    ],
)
def test_the_same_bytes_by_one_process_and_by_two(
    tmp_path, reel, stretches, workers, monkeypatch, subtype, options
):
    source = noise(tmp_path / "noise.wav", subtype)
    here = render(source, reel, tmp_path / "here", options)
    assert len(stretches) >= 4
    stretches.clear()
    by_two = render(source, reel, tmp_path / "by two", options, workers=workers)
    assert not stretches
    assert (held(by_two), told(by_two)) == (held(here), told(here))
    monkeypatch.setattr(stretch, "STRETCH", 1e6)
    at_once = render(source, reel, tmp_path / "at once", options)
    assert {one.begin for one in stretches} == {0}
    assert told(at_once) == pytest.approx(told(here), abs=1e-6)  # dB
    for a, b in zip(at_once.outputs, here.outputs, strict=True):
        assert (a.clipped, a.gains.makeup) == (b.clipped, pytest.approx(b.gains.makeup, abs=1e-6))
        off = sf.read(a.path, dtype="int32")[0] - sf.read(b.path, dtype="int32")[0]
        assert np.abs(off).max() <= (0 if a.gains == b.gains else 1 << 16)


@pytest.mark.parametrize(("ending", "flac"), [("flac", False), ("wav", True), ("flac", True)])
def test_what_is_decoded_or_encoded_in_turn_is_made_in_one_go(
    tmp_path, reel, stretches, workers, ending, flac
):
    plain = render(noise(tmp_path / "noise.wav"), reel, tmp_path / "plain", RenderOptions())
    stretches.clear()
    options = RenderOptions(suffix=".flac" if flac else ".wav")
    source = noise(tmp_path / f"noise.{ending}")
    done = render(source, reel, tmp_path / "other", options, workers=workers)
    assert {one.begin for one in stretches} == {0}
    for a, b in zip(plain.outputs, done.outputs, strict=True):
        assert np.array_equal(sf.read(a.path)[0], sf.read(b.path)[0])


@pytest.mark.parametrize("by", ["here", "workers"])
def test_one_stretch_that_passes_the_ceiling_turns_all_down(tmp_path, reel, stretches, workers, by):
    source = noise(tmp_path / "noise.wav", level=0.05)
    options = RenderOptions(signals=("receiving",), makeup=3.5)
    shares = []
    (output,) = render(
        source, reel, tmp_path / by, options, shares.append, workers if by == "workers" else None
    ).outputs
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert output.true_peak <= -1.0 + 1e-9


@given(
    rate=st.sampled_from([8_000, 11_025, 22_050, 44_100, 48_000, 192_000]),
    cuts=st.lists(st.integers(1, 40_000), min_size=2, max_size=5, unique=True),
)
@settings(max_examples=40, deadline=None)
def test_steps_of_stretches_are_those_that_a_meter_has_ended(rate, cuts):
    cuts = [0, *sorted(cuts)]
    meter, ended = LoudnessMeter(rate, 1), [0]
    for begin, end in pairwise(cuts):
        meter.add(np.zeros((end - begin, 1)))
        ended.append(len(meter._steps))
    for number, (begin, end) in enumerate(pairwise(cuts)):
        last = end == cuts[-1]
        steps = Stretch(begin, end, last).steps(rate)
        assert steps == (ended[number], None if last else ended[number + 1])


@pytest.mark.parametrize("by", ["here", "workers"])
def test_what_is_clipped_is_counted_over_all_stretches(tmp_path, reel, stretches, monkeypatch, by):
    """No gain lets anything clip: each portion says that it had 3."""
    monkeypatch.setattr(Portion, "clipped", property(lambda _: 3))
    source, options = noise(tmp_path / "noise.wav"), RenderOptions(signals=("receiving",))
    with ProcessPoolExecutor(2, get_context("fork")) as pool:
        pool = pool if by == "workers" else None
        (output,) = render(source, reel, tmp_path / by, options, workers=pool).outputs
    assert output.clipped == 3 * 5


@pytest.mark.parametrize("seconds", [0.25, 3.0, "a stretch"])
@pytest.mark.parametrize("by", ["here", "workers"])
def test_the_source_is_measured_to_its_end_where_its_results_go_on(
    tmp_path, reel, stretches, workers, seconds, by
):
    """It ends in a sine that is highest between samples, right at the end of a stretch or before."""
    filters = [design_run(reel[0].network, reel[0].listen, RATE).receiving]
    frames = OverlapSave(max_taps(filters), 1).frames if seconds == "a stretch" else seconds * RATE
    at = np.arange(int(frames))
    sound = np.sin(np.pi / 2 * at + np.pi / 4) * np.where(at < len(at) - 200, 0.01, 0.5)
    sf.write(tmp_path / "tone.wav", sound, RATE, "PCM_24")
    options = RenderOptions(signals=("receiving",), match=LOUDNESS, tail=9.0)
    sound = sf.read(tmp_path / "tone.wav", always_2d=True)[0]
    pool = workers if by == "workers" else None
    done = render(tmp_path / "tone.wav", reel, tmp_path / by, options, workers=pool)
    assert done.source_loudness == pytest.approx(loudness(sound), abs=1e-4)  # single precision
    assert done.source_true_peak == pytest.approx(true_peak(sound), abs=1e-5)


@pytest.mark.parametrize("more", [-1, 0, 1])
def test_stretches_follow_each_other_to_the_end(tmp_path, reel, stretches, more):
    """None is empty, and the last alone is the last, where the end is that of a stretch too."""
    take = Take.of(noise(tmp_path / "noise.wav", seconds=0.1), Excerpt())
    filters = [design_run(reel[0].network, reel[0].listen, RATE).receiving]
    frames = 2 * OverlapSave(max_taps(filters), take.channels).frames + more
    cut = Making(take, filters, [1.0], frames, False, True).stretches(True)
    assert [one.begin for one in cut] == [0, *(one.end for one in cut[:-1])]
    assert [one.last for one in cut] == [False] * (len(cut) - 1) + [True]
    assert all(one.begin < one.end for one in cut)
    assert (len(cut), cut[-1].end) == (2 + (more > 0), frames)


@pytest.mark.parametrize(("more", "tail", "asked"), [(-1, 0.0, 0), (0, 0.0, 1), (-RATE, 1.0, 1)])
def test_a_long_source_is_summed_up_by_a_worker(tmp_path, more, tail, asked):
    """Where it has two stretches; a worker that is lost is told as one."""
    source = noise(tmp_path / "noise.wav", seconds=0.1)
    take = replace(Take.of(source, Excerpt()), frames=60 * RATE + more)
    job = Job(take, [], RenderOptions(tail=tail), "PCM_24", {})
    given = []

    class Worker(Executor):
        def submit(self, *work):
            given.append(work)
            return Future()

    found = job.summed_by(Worker())
    assert given == [(sha256_of, source)] * asked
    assert job.summed_by(None) is job
    if asked:
        found.source_sum.set_exception(BrokenExecutor())
        with pytest.raises(WorkerError):
            _ = found.source_sha256
    assert job.source_sha256 == sha256_of(source)


def left_in(folder):
    return [path.name for path in folder.iterdir()] if folder.is_dir() else []


def test_a_worker_that_is_lost_leaves_nothing(tmp_path, reel, stretches, monkeypatch):
    source = noise(tmp_path / "noise.wav")
    monkeypatch.setattr(Maker, "make", lambda *_: os.kill(os.getpid(), signal.SIGKILL))
    with (
        ProcessPoolExecutor(2, get_context("fork")) as pool,
        pytest.raises(WorkerError, match="a worker has ended"),
    ):
        render(source, reel, tmp_path / "out", RenderOptions(), workers=pool)
    assert left_in(tmp_path / "out") == []


def test_once_a_worker_is_lost_no_other_sound_is_begun(tmp_path, stretches, monkeypatch):
    monkeypatch.setattr(job, "STRETCH", 0.1)
    sources = [noise(tmp_path / f"{name}.wav", seconds=3.0) for name in ("bells", "gulls")]
    monkeypatch.setattr(Maker, "make", lambda *_: os.kill(os.getpid(), signal.SIGKILL))
    with (
        ProcessPoolExecutor(1, get_context("fork")) as pool,
        pytest.raises(WorkerError, match="a worker has ended; what is finished stays"),
    ):
        render_all(sources, load_rig(RIG), tmp_path / "out", RenderOptions(), workers=pool)
    assert left_in(tmp_path / "out") == []


def test_workers_that_are_ended_in_the_midst_of_short_sounds_leave_nothing(tmp_path, monkeypatch):
    sources = [noise(tmp_path / f"{name}.wav", seconds=1.0) for name in ("bells", "gulls", "rope")]
    monkeypatch.setattr(Maker, "make", lambda *_: os.kill(os.getpid(), signal.SIGTERM))
    with (
        ProcessPoolExecutor(2, get_context("fork"), _end_with_parent) as pool,
        pytest.raises(WorkerError, match="a worker has ended; what is finished stays"),
    ):
        render_all(sources, load_rig(RIG), tmp_path / "out", RenderOptions(), workers=pool)
    assert not (tmp_path / "out").exists()


def test_what_a_worker_finds_wrong_is_told_here(tmp_path, reel, stretches, workers):
    """The source becomes shorter once it is being made."""
    source = noise(tmp_path / "noise.wav")

    def cut(share):
        os.truncate(source, 1000)

    with pytest.raises(AudioFileError, match="changed or replaced while it was read"):
        render(source, reel, tmp_path / "out", RenderOptions(), cut, workers)
    assert left_in(tmp_path / "out") == []


def test_several_short_sounds_are_given_to_one_worker_each(tmp_path, stretches, workers):
    rig = load_rig(RIG)
    sources = [noise(tmp_path / f"{name}.wav", seconds=1.0) for name in ("bells", "gulls", "rope")]
    here = render_all(sources, rig, tmp_path / "here", RenderOptions())
    stretches.clear()
    by_two = render_all(sources, rig, tmp_path / "by two", RenderOptions(), workers=workers)
    assert not stretches
    for a, b in zip(here.done, by_two.done, strict=True):
        assert (held(a), told(a)) == (held(b), told(b))


def test_a_render_alone_starts_no_thread(tmp_path, reel, monkeypatch):
    """Who stops it while one starts would not wait for that, which goes on to write."""
    source = noise(tmp_path / "noise.wav", seconds=1.0)

    def start(thread):
        raise AssertionError(thread)

    monkeypatch.setattr(threading.Thread, "start", start)
    done = render(source, reel, tmp_path / "out", RenderOptions(suffix=".flac"))
    assert len(done.outputs) == 2
