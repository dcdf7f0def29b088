"""Every command that writes, struck at a moment at random: its results are whole or not there.

By signals, by disks that fill up at any byte, by folders that nothing can be written to, and by sources
that cannot be read to their end.
"""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
import soundfile as sf

from support.command import BAD_INPUT, INTERRUPTED, OK, RATE, RIG, tone
from support.stricken import Ended, Forge

THIN = ("--choice", "thin")
FILTER = ("filter", "sluice.toml", *THIN, "--rate", "8 kHz", "--into", "results", "--replace")
STEPS = "runs.path.length = 50 m, 100 m"
COMMANDS = {
    "wav": (*FILTER, "--as", "wav"),
    "txt": (*FILTER, "--as", "txt"),
    "json": (*FILTER, "--as", "json"),
    "dsp": (*FILTER, "--as", "dsp"),
    "plot": ("plot", "sluice.toml", "--into", "results", "--replace"),
    "render": ("render", "sluice.toml", "bells.wav", "--into", "results", *THIN, "--replace"),
    "sweep": ("sweep", "sluice.toml", "--steps", STEPS, "--into", "results", "--replace"),
    "demo": ("demo", "results", "--replace"),
    "handover": (
        *("handover", "sluice.toml", "bells.wav", "--into", "results/show"),
        *(*THIN, "--replace"),
    ),
}
IN_SHORT = """
import auralize_demo.demo as demo
short = demo.synthesise(demo.RATE)[: demo.RATE // 4]
demo.synthesise = lambda rate: short
import json
import auralize.handover.handover as handover
handover.page_text = lambda data, *_: json.dumps(data)
import auralize.figures.plot as plot
every_panel = plot.panels
plot.panels = lambda *of: every_panel(*of)[:1]
"""
"""A demonstration of a quarter of a second, a page without its words and curves, a picture of one panel."""


def furnished(folder: Path) -> Path:
    """A folder with a rig file, a programme, and an empty folder for results."""
    (folder / "results").mkdir(parents=True)
    (folder / "sluice.toml").write_text(RIG, encoding="utf-8")
    sf.write(folder / "bells.wav", tone(), RATE, subtype="PCM_24")
    return folder


def held(folder: Path) -> dict[str, bytes]:
    """All that is in the folder for results, hidden files too."""
    place = folder / "results"
    return {
        path.relative_to(place).as_posix(): path.read_bytes()
        for path in place.rglob("*")
        if path.is_file()
    }


def hidden(folder: Path) -> list[Path]:
    """What is left that nobody sees, folders too."""
    return list((folder / "results").glob(".*"))


@pytest.fixture(scope="module")
def forge(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Forge]:
    made = Forge(furnished(tmp_path_factory.mktemp("rehearsal")), list(COMMANDS.values()), IN_SHORT)
    yield made
    made.close()


class Unharmed:
    """A folder for results and what a command does in it when nothing comes in between."""

    def __init__(self, forge: Forge, name: str, folder: Path) -> None:
        self.command = COMMANDS[name]
        self.folder = furnished(folder)
        self.done = forge.run(self.folder, self.command)
        assert (self.done.returncode, self.done.stderr) == (OK, "")
        self.results = held(self.folder)
        assert self.results
        self.largest = max(map(len, self.results.values()))

    def begin(self, earlier: bool) -> dict[str, bytes]:
        """Empty the folder, or put earlier files under the names of the results."""
        place = self.folder / "results"
        shutil.rmtree(place)
        place.mkdir()
        there: dict[str, bytes] = {}
        if (
            earlier
        ):  # of a folder that was handed over, all as it was: in no other is anything replaced
            whole = self.command[0] == "handover"
            there = {n: c if whole else b"earlier " + n.encode() for n, c in self.results.items()}
        for name, content in there.items():
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            (place / name).write_bytes(content)
        return there

    def check_whole(self, before: dict[str, bytes], ended: Ended) -> None:
        """Each file under a name that is seen is a result, or what was there before."""
        for name, content in held(self.folder).items():
            if not name.startswith("."):
                assert content in (self.results[name], before.get(name)), (name, ended)
        if self.command[0] == "handover":  # the folder, too
            seen = {name for name in held(self.folder) if not name.startswith(".")}
            assert seen in (set(), set(self.results)), ended


@pytest.fixture(params=COMMANDS)
def unharmed(request: pytest.FixtureRequest, forge: Forge, tmp_path: Path) -> Unharmed:
    return Unharmed(forge, request.param, tmp_path / "bench")


def test_killed_at_any_moment_each_result_is_whole_or_not_there(
    forge: Forge, unharmed: Unharmed
) -> None:
    """At times at random, and just before files are touched, where a time would seldom fall."""
    chance = random.Random(unharmed.command[0])
    for number in (signal.SIGKILL, signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        touches, seconds = unharmed.done.touches, unharmed.done.seconds
        for blow in (
            {
                "touch": chance.choice(
                    [chance.randrange(touches), touches - 1 - chance.randrange(4)]
                )
            },
            {"seconds": chance.uniform(0.0, seconds)},
        ):
            before = unharmed.begin(earlier=chance.random() < 0.5)
            ended = forge.run(unharmed.folder, unharmed.command, signal=int(number), **blow)
            unharmed.check_whole(before, ended)
            if number != signal.SIGKILL:
                assert not hidden(unharmed.folder), ended
                # Before the first line of ours, or after the last, a process ends as it does.
                assert ended.returncode in (OK, INTERRUPTED, -number), ended
                assert "Traceback" not in ended.stderr
    assert forge.run(unharmed.folder, unharmed.command).returncode == OK
    assert held(unharmed.folder) == unharmed.results  # what the killed left is swept


def refused(ended: Ended) -> str:
    """The one sentence that a command ended with."""
    assert (ended.returncode, ended.stdout) == (BAD_INPUT, ""), ended
    assert ended.stderr.startswith("auralize: ")
    assert ended.stderr.count("\n") == 1
    return ended.stderr


def test_a_disk_that_is_full_at_any_byte_is_a_sentence(forge: Forge, unharmed: Unharmed) -> None:
    """The limit of the size of a file (EFBIG) stands in for the disk; the demonstration keeps those of its
    files that were whole before."""
    chance = random.Random(unharmed.command[0])
    for room in (0, unharmed.largest - 1, *(chance.randrange(unharmed.largest) for _ in range(2))):
        before = unharmed.begin(earlier=chance.random() < 0.5)
        ended = forge.run(unharmed.folder, unharmed.command, room=room)
        assert "file too large" in refused(ended).lower()
        unharmed.check_whole(before, ended)
        left = held(unharmed.folder)
        assert not hidden(unharmed.folder)
        if unharmed.command[0] != "demo":
            assert left == before


@pytest.fixture
def read_only(unharmed: Unharmed) -> Iterator[Unharmed]:
    """The folder for results, mounted so that nothing can be written; needs the right to mount."""
    unharmed.begin(earlier=False)
    place = str(unharmed.folder / "results")
    if (
        shutil.which("mount") is None
        or subprocess.run(["mount", "--bind", place, place], capture_output=True).returncode
    ):
        pytest.skip("no right to mount a folder read-only")
    try:
        subprocess.run(["mount", "-o", "remount,ro,bind", place], check=True)
        yield unharmed
    finally:
        subprocess.run(["umount", place], check=True)


def test_a_folder_on_a_read_only_disk_is_a_sentence(forge: Forge, read_only: Unharmed) -> None:
    ended = forge.run(read_only.folder, read_only.command)
    assert "read-only" in refused(ended)
    assert "results" in ended.stderr
    assert held(read_only.folder) == {}


def test_a_source_that_cannot_be_read_to_its_end_is_a_sentence(
    forge: Forge, tmp_path: Path
) -> None:
    """At every read of it: of its header, of the first pass, of the second."""
    render = Unharmed(forge, "render", tmp_path / "bench")
    passed = False
    for good in range(40):
        before = render.begin(earlier=bool(good % 2))
        ended = forge.run(render.folder, render.command, read=good)
        if passed := ended.returncode == OK:
            break
        assert "bells.wav" in refused(ended)
        assert "cannot be read: input/output error" in ended.stderr
        assert held(render.folder) == before
    assert passed, "there was a read for every fault"
    assert good > 2
