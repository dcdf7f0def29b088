"""A scripted session played on a real sound server, and what its null sink was given."""

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from support.sound_server import FIRST

TESTS = Path(__file__).parents[1]


def session(folder, server, *arguments):
    """A scripted session; its figures, what the journal says, and what the monitor heard."""
    recording = folder / "recorded.f32"
    recorder = server.record(recording)
    time.sleep(0.5)
    subprocess.run(
        [
            *(*FIRST, sys.executable, "-W", "error", "-m", "support.live_session"),
            *(folder, *map(str, arguments)),
        ],
        cwd=TESTS,
        env=server.environment,
        check=True,
        timeout=300,
    )
    time.sleep(0.5)
    recorder.terminate()
    recorder.wait()
    figures = json.loads((folder / "figures.json").read_text())
    played = np.fromfile(folder / "played.f32", "<f4").reshape(-1, 2)
    whole = np.fromfile(recording, "<f4")
    return figures, played, whole[: len(whole) // 2 * 2].reshape(-1, 2)


def place_of(played, recorded):
    """Frame of the recording at which what was played begins; found by 256 frames of it."""
    first = int(np.flatnonzero(np.abs(played[:, 0]) > 1e-4)[0])
    probe = played[first : first + 256, 0]
    for candidate in np.flatnonzero(recorded[: -len(probe), 0] == probe[0]):
        if np.array_equal(recorded[candidate : candidate + len(probe), 0], probe):
            return int(candidate) - first
    raise AssertionError("what was played is not in the recording")
