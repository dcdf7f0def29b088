"""Streams that are closed, places where nothing can go, names that are no text, Ctrl-C while loading."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile as sf

from auralize.commands.main import main
from auralize.errors import AuralizeError, one_line
from auralize.renderer.files import render
from auralize.rig.reading import load_rig
from support.command import AURALIZE, BAD_INPUT, INTERRUPTED, OK, Bench, Tell, output, refusal

FIGURES = ("figures", "sluice.toml")
RENDER = ("render", "sluice.toml", "bells.wav", "--into", "results")


def shell(bench: Bench, arguments: tuple[str, ...], redirection: str) -> tuple[int, str, str]:
    done = subprocess.run(
        ["sh", "-c", f'"$0" "$@" {redirection}', AURALIZE, *arguments],
        cwd=bench.folder,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return done.returncode, done.stdout, done.stderr


@pytest.mark.parametrize("arguments", [FIGURES, RENDER, ("--version",), ("--help",)])
@pytest.mark.parametrize("redirection", [">&-", "<&- >&- 2>&-"])
def test_a_closed_output_is_nobody_who_listens(
    bench: Bench, arguments: tuple[str, ...], redirection: str
) -> None:
    assert shell(bench, arguments, redirection) == (OK, "", "")
    for path in bench.results.glob("*.wav"):
        assert len(sf.read(path)[0]) == len(sf.read(bench.programme)[0])


def test_with_errors_closed_the_code_still_tells(bench: Bench) -> None:
    assert shell(bench, ("figures", "no.toml"), "2>&-") == (BAD_INPUT, "", "")


@pytest.mark.parametrize("arguments", [("new", "pond.toml"), ("bench", "sluice.toml")])
def test_a_closed_input_is_nobody_to_ask(bench: Bench, arguments: tuple[str, ...]) -> None:
    code, _, said = shell(bench, arguments, "<&-")
    assert (code, said.count("\n")) == (BAD_INPUT, 1)
    assert "terminal" in said


@pytest.mark.skipif(os.name != "posix", reason="this system keeps a folder that is worked in")
def test_a_folder_that_is_gone_is_a_sentence(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As of a memory stick that was pulled out."""
    gone = bench.folder / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    sound = str(bench.folder / "bells.wav")
    assert main(["render", str(bench.folder / "sluice.toml"), sound]) == BAD_INPUT
    said = capsys.readouterr().err
    assert said.startswith("auralize: the folder that you work in is gone")
    assert said.count("\n") == 1


@pytest.mark.parametrize("option", ["--version", "--help"])
def test_what_is_told_into_a_pipe_that_nobody_reads(option: str) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [AURALIZE, option], stdout=writing, stderr=subprocess.PIPE, text=True, check=False
    )
    os.close(writing)
    assert (done.returncode, done.stderr) == (OK, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_version_that_finds_no_room_is_a_sentence(bench: Bench) -> None:
    code, _, said = shell(bench, ("--version",), ">/dev/full")
    assert code == BAD_INPUT
    assert said == "auralize: the output cannot be written: no space left on device\n"


STOPPED_WHILE_LOADING = """
import importlib.abc, signal, sys
class Stop(importlib.abc.MetaPathFinder):
    def find_spec(self, name, *_):
        if name == sys.argv[1]:
            signal.raise_signal(getattr(signal, sys.argv[2]))
from auralize.commands.main import main
sys.meta_path.insert(0, Stop())
sys.exit(main(sys.argv[3:]))
"""


@pytest.mark.parametrize(
    ("module", "number"),
    [
        ("auralize.files", "SIGINT"),
        ("auralize.commands.parser", "SIGTERM"),
        ("auralize.commands.render", "SIGHUP"),
        ("auralize.renderer.files", "SIGINT"),
        ("numpy", "SIGINT"),
        ("soundfile", "SIGTERM"),
    ],
)
def test_ctrl_c_while_loading_is_ctrl_c(bench: Bench, module: str, number: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", STOPPED_WHILE_LOADING, module, number, *RENDER],
        cwd=bench.folder,
        capture_output=True,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        check=False,
    )
    said = (done.returncode, done.stdout, done.stderr)
    assert said == (INTERRUPTED, "", "auralize: stopped; nothing partial is left behind\n")
    assert bench.left() == set()


@pytest.mark.parametrize("place", ["file", "file/new", "loop", "loop/new"])
@pytest.mark.parametrize("command", ["render", "filter"])
def test_places_where_nothing_can_go_are_told(
    bench: Bench, tell: Tell, place: str, command: str
) -> None:
    (bench.folder / "file").write_text("")
    (bench.folder / "loop").symlink_to("loop")
    if command == "render":
        done = tell(*RENDER[:-1], place)
    else:
        done = tell("filter", "sluice.toml", "--into", place, "--choice", "thin")
    assert refusal(done).startswith(place)


@pytest.mark.parametrize("name", ["low\ntide", "low\x1b[31m\x9b\u202etide"])
def test_names_are_shown_on_one_line_with_nothing_a_terminal_obeys(
    bench: Bench, tell: Tell, name: str
) -> None:
    shown = name.encode("unicode_escape").decode()
    assert f"{shown}.wav" in refusal(tell("render", "sluice.toml", f"{name}.wav"))
    assert f"{shown}.toml" in refusal(tell("figures", f"{name}.toml"))
    assert f"{shown}.jsonl" in tell("trials", f"{name}.jsonl").stderr
    assert f"{shown}" in refusal(tell("figures", "sluice.toml", f"--{name}"))
    (bench.folder / f"{name}.wav").write_bytes(bench.programme.read_bytes())
    told = output(bench.render("--choice", "thin", sound=f"{name}.wav"))
    assert name not in told
    assert f"{shown}.thin.drop.wav" in told
    assert f"{name}.thin.drop.wav" in bench.left()


def test_signs_of_any_writing_are_shown_as_they_are() -> None:
    assert one_line("Mühle 2.5 mm² \u2009 水車 é") == "Mühle 2.5 mm² \u2009 水車 é"


def a_file(folder: Path) -> None:
    folder.rename(folder.with_name("aside"))
    folder.write_text("in the way")


def gone(folder: Path) -> None:
    folder.rename(folder.with_name("aside"))


@pytest.mark.parametrize("change", [a_file, gone], ids=lambda c: c.__name__)
@pytest.mark.parametrize("when", [0.4, 0.9])
def test_a_folder_that_goes_while_we_render_is_told(
    bench: Bench, change: Callable[[Path], None], when: float
) -> None:
    due = [change]

    def watched(share: float) -> None:
        if due and share >= when:
            due.pop()(bench.results)

    with pytest.raises(AuralizeError, match="cannot be written"):
        render(bench.programme, load_rig(bench.rig).pick(["thin"]), bench.results, progress=watched)
    assert not due
