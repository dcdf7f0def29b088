"""The bench on a real sound server: what is played comes back, and what goes wrong is told and mended.

Each test has a PulseAudio of its own with a null sink, and plays from a process of its own.
"""

import json
import os
import subprocess
import sys
import threading
import time

import numpy as np
import pytest
import soundfile as sf

from support.live_session import make_programme
from support.recorded import TESTS, place_of, session
from support.sound_server import FIRST, RATE, SoundServer, missing

pytestmark = pytest.mark.usefixtures("in_time")
needs_server = pytest.mark.skipif(bool(missing()), reason=f"no real sound server here: {missing()}")
PATIENCE = 30.0
"""s until a test gives up. What must take a second at most is looked at by the child's own clock."""
TOLD_WITHIN = 1.0 + 1.0
"""s: the bar is one second; one more for a busy machine, where nothing runs when it should."""


@pytest.fixture
def server(tmp_path):
    folder = tmp_path / "server"
    folder.mkdir()
    with SoundServer(folder) as server:
        yield server


class Child:
    """A process with a bench in it (live_child.py) and what it has said."""

    def __init__(self, folder, environment):
        programme = folder / "programme.wav"
        if not programme.exists():
            make_programme(programme, seconds=3.0)
        self.volumes = folder / "volumes.json"
        self.errors = folder / "stderr.txt"
        with self.errors.open("wb") as errors:
            self.process = subprocess.Popen(
                [
                    *FIRST,
                    sys.executable,
                    "-W",
                    "error",
                    "-m",
                    "support.live_child",
                    programme,
                    self.volumes,
                ],
                cwd=TESTS,
                env=environment,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=errors,
                text=True,
            )
        self.said = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self):
        for line in self.process.stdout:
            self.said.append(json.loads(line))

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self._reader.join(5.0)
        self.process.stdin.close()
        self.process.stdout.close()

    @property
    def events(self):
        return [text for line in self.said for text in line["events"]]

    def do(self, command):
        self.process.stdin.write(command + "\n")
        self.process.stdin.flush()

    def wait(self, done, what):
        deadline = time.monotonic() + PATIENCE
        while time.monotonic() < deadline:
            if self.said and done(self.said[-1]):
                return self.said[-1]
            if self.process.poll() is not None:
                raise AssertionError(f"ended: {self.errors.read_text()}")
            time.sleep(0.01)
        raise AssertionError(f"{what} did not come: {self.said[-1:]}, {self.events}")

    def wait_playing(self, beyond=0):
        """Until the state is running and the programme moves on; only lines after ``beyond``."""
        self.wait(lambda line: line["state"] == "running", "running")
        here = self.said[-1]["position"]
        self.wait(
            lambda line: line["state"] == "running" and line["position"] not in (0.0, here),
            "moving on",
        )

    def wait_told(self, words, since=0):
        """The line that told it first."""

        def told():
            return next(
                (line for line in self.said[since:] if any(words in t for t in line["events"])),
                None,
            )

        self.wait(lambda _: told(), words)
        return told()

    def wait_frozen(self):
        """Until it is told: by the silence, or where a gap just then had it opened anew, by that."""
        told = ("has stopped taking sound", "the sound server does not answer")
        self.wait(lambda _: any(words in text for text in self.events for words in told), "told")

    def stop(self):
        """End it as a user does: exit code 0, soon, and nothing printed by anybody."""
        self.do("stop")
        assert self.process.wait(PATIENCE) == 0
        self._reader.join(PATIENCE)
        assert self.said[-1]["took"] < 4.0 + 1.0  # the limit that Engine.stop states
        assert self.errors.read_text() == ""


@pytest.fixture
def child(tmp_path, server):
    with Child(tmp_path, server.environment) as child:
        child.wait_playing()
        yield child


@needs_server
def test_what_is_heard_is_the_offline_render_of_the_session(tmp_path, server):
    """Switches, edits, loops, pause, seek, with the analyser open all the while: the recording has every
    sample of the journal, and these are the convolution of the timeline. On a machine where sound has gaps,
    up to three attempts."""
    for attempt in range(3):
        folder = tmp_path / f"session{attempt}"
        folder.mkdir()
        figures, played, recorded = session(folder, server, 7, 24, 2, 0.2)
        # Another way to the same: in float32, far under -90 dBFS, also inside cross-fades.
        assert figures["error_outside"] < 1e-7
        assert figures["error_within"] < 1e-7
        assert figures["starved"] == 0
        assert figures["pictures"] > 7  # seconds: more than one in each, however busy the machine
        assert figures["switches"] >= 26
        assert figures["edits"] == 2
        assert figures["peak"] > 0.02
        assert not figures["limited"]
        start = place_of(played, recorded)
        same = recorded[start : start + len(played)]
        # The very end may still lie in the device when the session ends.
        heard = min(len(same), len(played) - RATE // 2)
        gaps = figures["underruns"]
        if gaps == 0 and np.array_equal(same[:heard], played[:heard]):
            return
    pytest.fail(f"no attempt without a gap; {gaps} gaps, load {os.getloadavg()}, {figures}")


@needs_server
def test_another_sample_rate_is_played_at_the_right_speed(tmp_path, server):
    """44.1 kHz into a sink of 48 kHz, measured on the recording."""
    folder = tmp_path / "a"
    folder.mkdir()
    tone = 0.5 * np.sin(2 * np.pi * 1000 * np.arange(3 * 44_100) / 44_100)
    sf.write(folder / "programme.wav", np.stack([tone, tone], axis=1), 44_100)
    recording = folder / "recorded.f32"
    recorder = server.record(recording)
    with Child(folder, server.environment) as child:
        child.wait_playing()
        time.sleep(2.0)
        child.stop()
    recorder.terminate()
    recorder.wait()
    heard = np.fromfile(recording, "<f4").reshape(-1, 2)[:, 0]
    loud = heard[np.flatnonzero(np.abs(heard) > 0.03)[0] :][RATE // 4 : RATE // 4 + RATE]
    spectrum = np.abs(np.fft.rfft(loud * np.hanning(len(loud))))
    assert np.argmax(spectrum) * RATE / len(loud) == pytest.approx(1000.0, abs=1.0)


@needs_server
def test_a_killed_server_is_told_and_playing_goes_on_when_it_is_back(child, server):
    since, at = len(child.said), time.monotonic()
    server.kill()
    told = child.wait_told("default is gone; playing goes on when it is back", since)
    assert told["time"] - at < TOLD_WITHIN
    time.sleep(1.5)  # an attempt fails meanwhile
    assert child.said[-1]["state"] == "lost"
    place = child.said[-1]["position"]
    server.start()
    since = len(child.said)
    child.wait_told("playing on default", since)
    assert child.said[since]["position"] == place
    child.wait_playing()
    child.stop()


@needs_server
@pytest.mark.parametrize("trouble", ["suspended", "frozen"])
def test_a_server_that_takes_no_sound_is_told_and_playing_goes_on(child, server, trouble):
    def begin():
        server.freeze() if trouble == "frozen" else server.suspend(True)

    def end():
        server.thaw() if trouble == "frozen" else server.suspend(False)

    since, at = len(child.said), time.monotonic()
    begin()
    child.wait_frozen()
    if any("does not answer" in text for text in child.events):  # opened anew, for a gap just then
        end()
        child.wait_playing()
        since, at = len(child.said), time.monotonic()
        begin()
    told = child.wait_told("has stopped taking sound; playing goes on when it takes it", since)
    assert told["time"] - at < TOLD_WITHIN
    since = len(child.said)
    end()
    child.wait_told("takes sound again", since)
    child.wait_playing()
    assert max(line["took"] for line in child.said) < 1.0  # nobody waited for the server
    child.stop()


@needs_server
def test_on_a_frozen_server_another_device_is_tried_and_the_bench_ends_all_the_same(child, server):
    server.freeze()
    child.wait_frozen()
    child.do("next")
    child.wait_told("the sound server does not answer; start it again, or choose another device")
    assert max(line["took"] for line in child.said) < 1.0
    child.stop()


@needs_server
def test_a_frozen_server_that_wakes_is_played_to_again_after_a_choice_was_stuck(child, server):
    server.freeze()
    child.wait_frozen()
    child.do("start other")
    child.wait_told("does not answer")
    server.thaw()
    child.wait_told("playing on other")
    child.wait_playing()
    child.stop()


@needs_server
def test_another_device_is_played_to_at_its_own_volume(child):
    assert child.said[-1]["volume"] == -20.0
    child.do("volume -9")
    child.wait(lambda line: line["volume"] == -9.0, "volume")
    child.do("start other")
    child.wait(lambda line: line["device"] == "other", "other device")
    assert child.said[-1]["volume"] == -20.0
    child.do("start default")
    child.wait(lambda line: line["device"] == "default", "default device")
    assert child.said[-1]["volume"] == -9.0
    child.do("start loft")
    child.wait_told("output device 'loft' is not there; right is one of")
    child.stop()
    assert json.loads(child.volumes.read_text()) == {"default": -9.0}


@needs_server
def test_without_a_server_the_bench_waits_for_one(tmp_path, server):
    server.kill()
    with Child(tmp_path, server.environment) as child:
        child.wait_told("there is no output device; connect one or start the sound server")
        server.start()
        child.wait_told("playing on default")
        child.wait_playing()
        child.stop()
    assert len(child.events) == 2  # each thing told once


@needs_server
def test_a_server_frozen_from_the_start_is_told_and_left(tmp_path, server):
    server.freeze()
    with Child(tmp_path, server.environment) as child:
        child.wait_told("the sound server does not answer")
        child.stop()


def test_without_portaudio_the_bench_says_what_to_install(tmp_path):
    fake = tmp_path / "fake"
    fake.mkdir()
    (fake / "sounddevice.py").write_text("raise OSError('PortAudio library not found')\n")
    paths = os.pathsep.join([str(fake), os.environ.get("PYTHONPATH", "")])
    with Child(tmp_path, {**os.environ, "PYTHONPATH": paths}) as child:
        child.wait_told("PortAudio is missing, so nothing can be heard; install it")
        time.sleep(1.5)
        child.stop()
    assert len(child.events) == 1
    assert child.said[-1]["position"] in (0.0, 0.5)
