"""Ctrl-C and a terminal that watches: how a command ends before its end."""

import os
import pty
import signal
import struct
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from support.command import AURALIZE, INTERRUPTED, RATE, Bench

STOPPED = "auralize: stopped; nothing partial is left behind\n"


@pytest.fixture(scope="module")
def minutes(tmp_path_factory: pytest.TempPathFactory) -> Callable[[float], Path]:
    """Makes a file of silence that many minutes long, which takes no room on the disk."""
    folder = tmp_path_factory.mktemp("minutes")

    def make(length: float) -> Path:
        path = folder / f"{length:g}.wav"
        data = round(60 * length * RATE) * 2
        with path.open("wb") as file:
            file.write(struct.pack("<4sI4s", b"RIFF", 36 + data, b"WAVE"))
            file.write(struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, RATE, 2 * RATE, 2, 16))
            file.write(struct.pack("<4sI", b"data", data))
            file.truncate(44 + data)
        return path

    return make


Making = Callable[[float], Path]


@pytest.fixture
def long_render(bench: Bench) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Starts renders in the background, and ends what is left of them."""
    started: list[subprocess.Popen[str]] = []

    def start(sound: Path, stderr: int = subprocess.PIPE) -> subprocess.Popen[str]:
        options = ["--choice", "thin", "--signals", "receiving"]
        command = [str(AURALIZE), "render", str(bench.rig), str(sound), "--into", "results"]
        process = subprocess.Popen(
            command + options, cwd=bench.folder, stdout=subprocess.PIPE, stderr=stderr, text=True
        )
        started.append(process)
        return process

    yield start
    for process in started:
        if process.poll() is None:
            process.kill()
        process.communicate()


def test_ctrl_c_while_measuring_says_so_and_nothing_else(
    bench: Bench, minutes: Making, long_render: Callable[..., subprocess.Popen[str]]
) -> None:
    """After more than the two seconds from which on a terminal, and only a terminal, sees progress."""
    process = long_render(minutes(400))
    time.sleep(2.5)
    assert process.poll() is None, "the programme was too short for this test"
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out, err) == (INTERRUPTED, "", STOPPED)
    assert bench.left() == set()


def test_ctrl_c_while_writing_leaves_nothing(
    bench: Bench, minutes: Making, long_render: Callable[..., subprocess.Popen[str]]
) -> None:
    process = long_render(minutes(8))
    deadline = time.monotonic() + 30.0
    while not bench.left() and process.poll() is None and time.monotonic() < deadline:
        time.sleep(0.002)
    assert process.poll() is None, "nothing was being written when the programme ended"
    assert all(name.startswith(".") for name in bench.left())
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out, err) == (INTERRUPTED, "", STOPPED)
    assert bench.left() == set()


def test_a_terminal_sees_progress_and_it_is_wiped(
    bench: Bench, minutes: Making, long_render: Callable[..., subprocess.Popen[str]]
) -> None:
    ours, theirs = pty.openpty()
    process = long_render(minutes(400), stderr=theirs)
    os.close(theirs)
    seen = ""
    while "s left" not in seen:
        seen += os.read(ours, 1024).decode()
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=30)
    with suppress(OSError):  # Linux reports EIO where the other side has closed
        while more := os.read(ours, 1024):
            seen += more.decode()
    os.close(ours)
    assert process.returncode == INTERRUPTED
    assert "% done" in seen
    wiped, _, last = seen.rpartition("\r\033[K")
    assert "% done" in wiped
    assert last == STOPPED.replace("\n", "\r\n")  # the terminal's own line end
    assert bench.left() == set()
