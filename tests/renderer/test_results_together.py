"""The results of one render take their names together, or none does; what a killed run left goes."""

import errno
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from auralize import files
from auralize.audio import writer as audiowriter
from auralize.errors import AuralizeError
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.rig.reading import load_rig
from auralize.temporaries import OURS

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
FILES = 4
"""One choice: what arrives and the drop, each with its sidecar."""


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "tide.wav"
    sf.write(path, np.full((4000, 1), 0.1), 48_000, "PCM_24")
    return path


def rendered(source: Path) -> Path:
    folder = source.parent / "results"
    render(source, load_rig(RIG).pick(["reel"]), folder, RenderOptions(replaces=True))
    return folder


def held(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def earlier(source: Path) -> dict[str, bytes]:
    """Files of the same names with other content, which may go, all but the first: that name is free."""
    folder = rendered(source)
    names = sorted(path.name for path in folder.iterdir())
    assert len(names) == FILES
    (folder / names[0]).unlink()
    for name in names[1:]:
        (folder / name).write_bytes(name.encode())
    return held(folder)


@pytest.mark.parametrize("links", [True, False])
@pytest.mark.parametrize("good", range(FILES))
def test_what_fails_half_way_is_taken_back(
    source: Path, monkeypatch: pytest.MonkeyPatch, good: int, links: bool
) -> None:
    before = earlier(source)
    replace, calls = os.replace, []

    def failing(a: Path, b: Path) -> None:
        calls.append(b)
        if len(calls) == good + 1:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        replace(a, b)

    def no_links(*_: object) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "replace", failing)
    if not links:
        monkeypatch.setattr(os, "link", no_links)
    with pytest.raises(AuralizeError, match=r"this file cannot be written: input/output error$"):
        rendered(source)
    assert len(calls) > good
    assert held(source.parent / "results") == before


def test_no_room_to_keep_the_earlier_ones_changes_nothing(
    source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = earlier(source)

    def failing(_: Path, goal: Path) -> None:
        goal.write_bytes(b"half") if goal.suffix == ".part" else None
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "link", failing)
    monkeypatch.setattr(shutil, "copy2", failing)
    with pytest.raises(AuralizeError, match="no space left"):
        rendered(source)
    assert held(source.parent / "results") == before


def test_a_last_file_that_is_incomplete_keeps_all_from_their_names(
    source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = earlier(source)
    complete, seen = audiowriter._is_complete, []

    def but_the_last(path: Path, frames: int) -> bool:
        seen.append(path)
        return complete(path, frames) and len(seen) < FILES // 2

    monkeypatch.setattr(audiowriter, "_is_complete", but_the_last)
    with pytest.raises(AuralizeError, match="nothing partial is left behind"):
        rendered(source)
    assert held(source.parent / "results") == before


@pytest.fixture
def stoppable() -> Iterator[None]:
    """Every signal that stops a program does what Ctrl-C does."""
    before = {number: signal.getsignal(number) for number in files.STOPPING}
    for number in before:
        signal.signal(number, signal.default_int_handler)
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.usefixtures("stoppable")
@pytest.mark.parametrize("number", files.STOPPING, ids=lambda n: n.name)
@pytest.mark.parametrize("at", [1, FILES])
def test_a_signal_while_names_are_taken_waits_until_all_have_theirs(
    source: Path, monkeypatch: pytest.MonkeyPatch, number: signal.Signals, at: int
) -> None:
    wanted = held(rendered(source))
    shutil.rmtree(source.parent / "results")
    earlier(source)
    replace, calls = os.replace, []

    def stopped(a: Path, b: Path) -> None:
        calls.append(b)
        if len(calls) == at:
            signal.raise_signal(number)
        replace(a, b)

    monkeypatch.setattr(os, "replace", stopped)
    with pytest.raises(KeyboardInterrupt):
        rendered(source)
    assert held(source.parent / "results") == wanted
    assert signal.getsignal(number) is signal.default_int_handler


def ours(folder: Path, process: int) -> Path:
    path = folder / f"{OURS}{process}-0123456789ab.part"
    path.write_bytes(b"half a sound")
    return path


def test_what_a_killed_run_left_goes_with_the_next_one(source: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    folder = source.parent / "results"
    folder.mkdir()
    left, running = ours(folder, gone.pid), ours(folder, os.getppid())
    foreign = folder / f".auralize-otherhost-{gone.pid}-0123456789ab.part"
    foreign.write_bytes(b"of another machine")
    rendered(source)
    assert not left.exists()
    assert running.exists()
    assert foreign.exists()


def test_temporary_files_tell_whose_they_are(tmp_path: Path) -> None:
    name = files.StagedFile(tmp_path / "a.wav").temporary.name
    assert name.startswith(f"{OURS}{os.getpid()}-")


@pytest.mark.parametrize("number", ["SIGHUP", "SIGTERM"])
def test_a_terminal_that_closes_stops_a_render_as_ctrl_c_does(source: Path, number: str) -> None:
    """The signal comes from within, in the second pass."""
    code = f"""
import signal, sys
from auralize.audio.portion import Portion
write = Portion.write
def stopped(self, block):
    signal.raise_signal(signal.{number})
    write(self, block)
Portion.write = stopped
from auralize.commands.main import main
sys.exit(main(sys.argv[1:]))
"""
    folder = source.parent / "results"
    arguments: list[Any] = ["render", RIG, source, "--into", folder, "--choice", "reel"]
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=False
    )
    said = (done.returncode, done.stdout, done.stderr)
    assert said == (130, "", "auralize: stopped; nothing partial is left behind\n")
    assert not folder.exists()


def test_what_a_kill_left_between_names_the_same_call_finishes(
    source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without being allowed to replace anything: no sound stands there without its facts."""
    replace, names = os.replace, []

    def noted(a: Path, b: Path) -> None:
        names.append(Path(b))
        replace(a, b)

    monkeypatch.setattr(os, "replace", noted)
    folder = rendered(source)
    whole, order = held(folder), list(names)
    assert len(order) == FILES
    for left in range(FILES):
        for path in order[left:]:
            path.unlink()
        render(source, load_rig(RIG).pick(["reel"]), folder, RenderOptions())
        assert held(folder) == whole
