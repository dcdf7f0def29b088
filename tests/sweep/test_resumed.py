"""A sweep that was killed goes on when the same call comes again, to the same bytes."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from auralize.commands.main import main
from auralize.sweep import chunks
from support.command import BAD_INPUT, INTERRUPTED, OK, RIG
from support.stricken import Forge

CASES = (
    *("sweep", "sluice.toml", "--into", "results"),
    *("--tolerance", "runs.path.length = 50 m +- 5 m", "--draws", "14"),
    *("--loss", "0.5 dB", "--price", "thin=1", "--price", "thick=4", "--matters", "loss"),
)
IN_FOURS = "import auralize.sweep.chunks as chunks\nchunks.CHUNK = 4\n"


def held(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in (folder / "results").iterdir()}


def furnished(folder: Path) -> Path:
    folder.mkdir()
    (folder / "sluice.toml").write_text(RIG, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def forge(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Forge]:
    rehearsal = furnished(tmp_path_factory.mktemp("forge") / "rehearsal")
    made = Forge(rehearsal, [CASES], IN_FOURS)
    yield made
    made.close()


def test_killed_at_any_chunk_it_comes_to_the_same_bytes(forge: Forge, tmp_path: Path) -> None:
    """14 cases in chunks of four; struck before every seventh touch of a file."""
    whole = forge.run(furnished(tmp_path / "undisturbed"), CASES)
    assert (whole.returncode, whole.stderr) == (OK, "")
    wanted = held(tmp_path / "undisturbed")
    assert len(wanted) == 2
    taken_up = set()
    for touch in range(3, whole.touches, 7):
        folder = furnished(tmp_path / f"struck-{touch}")
        ended = forge.run(folder, CASES, signal=int(signal.SIGKILL), touch=touch)
        assert ended.returncode == -signal.SIGKILL
        again = forge.run(folder, CASES)
        assert (again.returncode, again.stdout) == (OK, whole.stdout)
        assert held(folder) == wanted
        taken_up.add(again.stderr)
    said = "auralize: {} of 14 cases are there already, from the same call\n"
    assert {said.format(done) for done in (4, 8, 12, 14)} <= taken_up


def test_a_disk_that_is_full_is_a_sentence_and_what_is_done_stays(
    forge: Forge, tmp_path: Path
) -> None:
    """At the first chunk, of 8.6 kB, when there is nothing yet; and at the table, of 12 kB."""
    command = (*CASES, "--draws", "30")
    for room, kept in ((500, 0), (10_000, 8)):
        folder = furnished(tmp_path / f"room-{room}")
        ended = forge.run(folder, command, room=room)
        assert ended.returncode == BAD_INPUT, ended
        assert "file too large" in ended.stderr
        assert ended.stderr.count("\n") == 1
        assert len([*folder.rglob("*.npz")]) == kept
        assert (folder / "results").exists() is bool(kept)
        assert ("and the same call goes on there" in ended.stderr) is bool(kept)
    again = forge.run(folder, command)
    assert again.returncode == OK
    assert again.stderr == "auralize: 30 of 30 cases are there already, from the same call\n"
    assert len(held(folder)) == 2


def test_ctrl_c_keeps_what_is_done_and_another_call_does_not_take_it_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(furnished(tmp_path / "mill"))
    monkeypatch.setattr(chunks, "CHUNK", 4)
    solve, solved = chunks.solve_cases, []

    def stopped(*arguments: object) -> object:
        solved.append(arguments[3])
        if len(solved) == 3:
            raise KeyboardInterrupt
        return solve(*arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(chunks, "solve_cases", stopped)
    command = (*CASES, "--plot", "svg")
    assert main(command) == INTERRUPTED
    assert "stopped; what is done is kept in results/.auralize-" in capsys.readouterr().err
    Path("sluice.toml").write_text(RIG.replace("10 ohm/km", "11 ohm/km"))
    assert main(command) == OK
    assert "are not taken up: it was of another rig" in capsys.readouterr().err
    assert solved[3:] == [0, 4, 8, 12]
    changed = held(Path())
    assert len(changed) == 3, "nothing that was kept is left"
    assert main(command) == OK
    assert held(Path()) == changed
