"""Commands that are killed, run twice at once, or run where there is no home and no locale."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import time

import numpy as np
import pytest
import soundfile as sf

from support.command import AURALIZE, RATE, Bench, tone

SECONDS = 20
COMMAND = ("render", "sluice.toml", "long.wav", "--into", "results", "--choice", "thin")


@pytest.fixture
def long(bench: Bench) -> Bench:
    sf.write(bench.folder / "long.wav", np.tile(tone(), (SECONDS * 2, 1)), RATE, subtype="PCM_24")
    return bench


def started(bench: Bench) -> subprocess.Popen[bytes]:
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    return subprocess.Popen([str(AURALIZE), *COMMAND], cwd=bench.folder, **pipes)


def whole(bench: Bench) -> set[str]:
    """Names of what is there to be seen; each sound is whole and has its facts beside it."""
    seen = {name for name in bench.left() if not name.startswith(".")}
    for name in seen:
        if name.endswith(".wav"):
            assert sf.info(bench.results / name).frames == sf.info(bench.folder / "long.wav").frames
            facts = json.loads((bench.results / f"{name}.json").read_text(encoding="utf-8"))
            assert facts["file"] == name
    return seen


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_killed_at_any_moment_all_is_there_or_nothing(long: Bench, number: int) -> None:
    moments = random.Random(int(number))
    for _ in range(2):
        process = started(long)
        time.sleep(moments.uniform(0.3, 1.2))
        process.send_signal(number)
        _, told = process.communicate(timeout=30)
        seen = whole(long)
        assert len(seen) in (0, 4)
        if number != signal.SIGKILL:
            assert long.left() == seen
            # Killed before the first line of ours ran, the interpreter ends as it does.
            assert process.returncode in (0, 130, -number), told
    last = started(long)
    _, told = last.communicate(timeout=60)
    assert last.returncode == 0, told
    assert long.left() == whole(long)  # what the killed left is swept
    assert len(whole(long)) == 4


def test_two_at_once_on_the_same_results_leave_whole_ones(long: Bench) -> None:
    both = [started(long) for _ in range(2)]
    for process in both:
        _, told = process.communicate(timeout=60)
        assert process.returncode == 0, told
    assert len(whole(long)) == 4
    assert long.left() == whole(long)


@pytest.mark.parametrize("home", [None, "/", "/nowhere"])
def test_without_a_home_and_in_the_bare_locale(bench: Bench, home: str | None) -> None:
    surroundings = {"PATH": os.environ["PATH"], "LC_ALL": "POSIX"}
    if home is not None:
        surroundings["HOME"] = home
    rig = bench.rig.read_text(encoding="utf-8").replace("Saltmarsh", "Mühle")
    bench.rig.write_text(rig, encoding="utf-8")
    done = subprocess.run(
        [str(AURALIZE), "figures", str(bench.rig)],
        env=surroundings,
        capture_output=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"M" in done.stdout.splitlines()[0]
