"""A bench on a live input of the test's own sound server, and what went in and came out."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from support.recorded import TESTS
from support.sound_server import DESK, FIRST, NEAR, RATE, SINK, WIDE, SoundServer

PATIENCE = 60.0
"""s until a test gives up."""
LOUD = 1e-4

Line = dict[str, Any]


def make_material(path: Path, seconds: float) -> None:
    """Bare float32: noise that swells twice a second, on steps of 24 bits, so that it stays exact."""
    time_axis = np.arange(round(seconds * RATE)) / RATE
    noise = np.random.default_rng(8).normal(0.0, 0.05, (len(time_axis), 2))
    noise *= 0.2 + 0.8 * (2.0 * time_axis % 1.0)[:, None]
    (np.round(noise * 2**23) / 2**23).astype("<f4").tofile(path)


def read(path: Path, channels: int = 2) -> NDArray[np.float32]:
    """What was recorded so."""
    whole = np.fromfile(path, "<f4")
    return whole[: len(whole) // channels * channels].reshape(-1, channels)


class InputBench:
    """The process of `support.input_child`, what it has said, and recordings of both sinks."""

    def __init__(
        self, folder: Path, server: SoundServer, device: str, seconds: float, wide: bool = False
    ) -> None:
        self.folder, self.server = folder, server
        self.material = folder / "material.f32"
        make_material(self.material, seconds)
        self._wide = wide
        if wide:
            server.plug_in_wide()
            self.recorders = [server.record(folder / "both.f32", WIDE, 4)]
        else:
            both = ((folder / "out.f32", SINK), (folder / "in.f32", DESK))
            self.recorders = [server.record(path, sink) for path, sink in both]
        time.sleep(0.3)
        server.play_at_desk(self.material, NEAR if wide else DESK)
        self.process = subprocess.Popen(
            [
                *(*FIRST, sys.executable, "-m", "support.input_child"),
                *(device, str(folder / "volumes.json")),
            ],
            cwd=TESTS,
            env=server.environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.said: list[Line] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(json.loads(line))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self._reader.join(5.0)
        for pipe in (self.process.stdin, self.process.stdout):
            assert pipe is not None
            pipe.close()
        self.end_recording()

    @property
    def events(self) -> list[str]:
        return [text for line in self.said for text in line["events"]]

    def do(self, command: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(command + "\n")
        self.process.stdin.flush()

    def wait(self, what: str, done: Callable[[Line], object]) -> Line:
        """Until it has said a line of which something is so."""
        deadline = time.monotonic() + PATIENCE
        while time.monotonic() < deadline:
            if self.said and done(self.said[-1]):
                return self.said[-1]
            assert self.process.poll() is None, self.events
            time.sleep(0.01)
        raise AssertionError(f"{what} did not come: {self.said[-1:]}, {self.events}")

    def wait_told(self, words: str) -> None:
        self.wait(words, lambda _: any(words in text for text in self.events))

    def let_through(self) -> None:
        """As a user does, at full volume."""
        self.wait("waiting", lambda line: line["input"]["state"] == "waiting")
        self.do("volume 0")
        self.do("play")
        self.wait_told("near the loudspeakers? It would howl. Space again lets it sound")
        self.do("play")
        self.wait("sounding", lambda line: line["input"]["state"] == "sounding")

    def stop(self) -> None:
        self.do("stop")
        assert self.process.wait(PATIENCE) == 0
        time.sleep(0.3)
        self.end_recording()

    def end_recording(self) -> None:
        for recorder in self.recorders:
            recorder.terminate()
            recorder.wait()

    @property
    def came_in(self) -> NDArray[np.float32]:
        if self._wide:
            return read(self.folder / "both.f32", 4)[:, :2]
        return read(self.folder / "in.f32")

    @property
    def came_out(self) -> NDArray[np.float32]:
        if self._wide:
            return read(self.folder / "both.f32", 4)[:, 2:]
        return read(self.folder / "out.f32")


def lag(reference: NDArray[np.float64], part: NDArray[np.float64]) -> int:
    """Frame of the ``reference``, one channel, at which ``part`` lies; by correlation."""
    from scipy.signal import fftconvolve

    return int(np.argmax(fftconvolve(reference, part[::-1], "valid")))
