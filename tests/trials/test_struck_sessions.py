"""Sessions struck before each of the moments at which their files are touched, or by a disk that is full."""

from __future__ import annotations

import json
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from auralize.trials.checking import cut_off, verify
from auralize.trials.seeds import share_apart
from auralize.trials.session import Session
from support.sessions import plan
from support.stricken import Ended, Forge

TRIALS = 3
HOLD = """
import os, sys
from pathlib import Path
import auralize.commands.main as command
from auralize.trials.plan import Compared, Plan, TrialError
from auralize.trials.session import Session
choices = Compared("reel", 0.0, "twin", "0" * 64), Compared("pair", 0.0, "twisted", "0" * 64)
def hold(arguments):
    os.environ["XDG_STATE_HOME"] = os.path.abspath("state")
    command._stop_in_good_order()
    try:
        plan = Plan("triangle", int(arguments[1]), choices, "equal", "bells.wav", "0" * 64, "listener 1")
        session = Session.start(plan, Path("trials", arguments[0]))
        for answer in range(plan.trials):
            session.answer(answer % 3)
            print(session.answered, flush=True)
    except TrialError as error:
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    return 0
command.main = hold
"""


@pytest.fixture(scope="module")
def forge(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Forge]:
    folder = furnished(tmp_path_factory.mktemp("rehearsal"))
    made = Forge(folder, [("a.jsonl", str(TRIALS))], HOLD)
    yield made
    made.close()


def furnished(folder: Path) -> Path:
    (folder / "trials").mkdir(parents=True)
    (folder / "state").mkdir()
    return folder


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return furnished(tmp_path)


def hidden(bench: Path) -> list[str]:
    return [path.name for path in (bench / "trials").iterdir() if path.name.startswith(".")]


def check_struck(bench: Path, ended: Ended) -> None:
    """The log is whole as far as it goes, and what was acknowledged is in it; it can be gone on with as
    soon as anything was. It is given up then, and after the next session nothing is left
    beside it."""
    acknowledged = len(ended.stdout.split())
    offered = {check.path for check in cut_off(bench / "trials")}
    for path in (bench / "trials").glob("*.jsonl"):
        if path.stat().st_size == 0:  # struck before its first line
            path.unlink()
            continue
        check = verify(path)
        assert check.discrepancies == ()
        assert acknowledged <= check.answered <= acknowledged + 1
        if path in offered:
            session = Session.resume(path)
            if not session.finished:  # else all was answered, and only its end was missing
                session.give_up()
        elif check.state == "unfinished":
            assert acknowledged == 0
        else:
            assert check.state == "complete"
        Session.start(plan(), path.with_name("next.jsonl")).give_up()
        path.with_name("next.jsonl").unlink()
        path.unlink()
        assert not (acknowledged and share_apart(check.commitment).exists())
    assert hidden(bench) == []


@pytest.mark.parametrize("number", ["SIGKILL", "SIGTERM", "SIGINT", "SIGHUP"])
def test_a_session_struck_at_any_touch_of_its_files(bench: Path, forge: Forge, number: str) -> None:
    whole = forge.run(bench, ("a.jsonl", str(TRIALS)))
    assert (whole.returncode, whole.stdout.split()) == (0, ["1", "2", "3"])
    assert verify(bench / "trials" / "a.jsonl").state == "complete"
    assert [path.name for path in bench.rglob("*") if path.is_file()] == ["a.jsonl"]
    (bench / "trials" / "a.jsonl").unlink()
    for touch in range(whole.touches):
        ended = forge.run(
            bench, ("a.jsonl", str(TRIALS)), touch=touch, signal=int(getattr(signal, number))
        )
        assert ended.returncode in (130, -getattr(signal, number)), ended
        check_struck(bench, ended)


@pytest.mark.parametrize("number", ["SIGKILL", "SIGTERM", "SIGINT", "SIGHUP"])
@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_a_session_struck_at_some_time(
    bench: Path, forge: Forge, number: str, share: float
) -> None:
    whole = forge.run(bench, ("a.jsonl", "40"))
    assert whole.returncode == 0
    (bench / "trials" / "a.jsonl").unlink()
    struck = {"signal": int(getattr(signal, number)), "seconds": share * whole.seconds}
    check_struck(bench, forge.run(bench, ("a.jsonl", "40"), **struck))


def test_a_disk_that_is_full_at_any_byte_of_a_log(bench: Path, forge: Forge) -> None:
    forge.run(bench, ("a.jsonl", str(TRIALS)))
    log = bench / "trials" / "a.jsonl"
    size, first = log.stat().st_size, log.read_bytes().index(b"\n") + 1
    log.unlink()
    for room in (0, 10, first - 1, first, first + 1, (first + size) // 2, size - 1):
        ended = forge.run(bench, ("a.jsonl", str(TRIALS)), room=room)
        assert ended.returncode == 2
        assert "file too large" in ended.stderr or "disk is full" in ended.stderr
        assert ended.stderr.count("\n") == 1
        if room < first:
            assert not log.exists()
        else:
            assert all(json.loads(line) for line in log.read_bytes().splitlines())
            assert log.read_bytes().endswith(b"\n")
            check_struck(bench, ended)
        assert hidden(bench) == []
