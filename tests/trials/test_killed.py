"""Sessions that were killed: no answer is lost, and what can be resumed is."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.trials import session as trial_module
from auralize.trials.checking import cut_off, summarise, verify
from auralize.trials.log import Log
from auralize.trials.plan import TrialError
from auralize.trials.seeds import share_apart
from auralize.trials.session import Session
from support.sessions import plan, shares, sure_answer, untimed

CHILD = """
import signal, sys
from pathlib import Path
from auralize.files import STOPPING
from auralize.trials.session import Session
for number in STOPPING:
    signal.signal(number, signal.default_int_handler)  # as every command does
from auralize.trials.plan import Compared, Plan
choices = Compared("reel", 0.0, "twin", "0" * 64), Compared("pair", 0.0, "twisted", "0" * 64)
plan = Plan("triangle", 5000, choices, "as installed", "tide-mill.wav", "0" * 64, "listener 1")
session = Session.start(plan, Path(sys.argv[1]))
print(session.commitment, flush=True)
while True:
    session.answer(session.answered % 3)
    print(session.answered, flush=True)
"""


@pytest.mark.parametrize(
    ("answers", "number"),
    [(0, "SIGKILL"), (7, "SIGKILL"), (3, "SIGTERM"), (4, "SIGINT"), (5, "SIGHUP")],
)
def test_a_killed_session_loses_no_answer(tmp_path: Path, answers: int, number: str) -> None:
    path = tmp_path / "log"
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert child.stdout is not None
    with child.stdout as lines:
        noted = lines.readline().strip()
        for _ in range(answers):
            lines.readline()
        os.kill(child.pid, getattr(signal, number))  # somewhere within the next answers
        told = [line for line in lines.read().split("\n") if line]
    child.wait()
    acknowledged = int(told[-1]) if told else answers

    cut = verify(path)
    assert (cut.state, cut.outcome) == ("unfinished", None)
    session = Session.resume(path)
    assert session.commitment == noted
    assert acknowledged <= session.answered <= acknowledged + 1
    assert session.answered == cut.answered
    session.give_up()
    check = verify(path)
    assert (check.state, check.answered, check.discrepancies) == ("given up", cut.answered, ())
    assert any("cut off and resumed at" in remark for remark in check.remarks)


@settings(untimed, max_examples=30)
@pytest.mark.usefixtures("unsynced")
@given(st.data())
def test_cut_anywhere_a_session_can_be_taken_up(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """The log cut at any byte after its first line, as by a kill or a crash while it was written."""
    folder = tmp_path_factory.mktemp("cut")
    path = folder / "log"
    session = Session.start(plan(trials=4), path)
    kept = {share: share.read_bytes() for share in shares(session)}
    answers = [sure_answer(session)]
    session.answer(answers[0])
    for index in (1, 2, 0):
        answers.append(index)
        session.answer(index)
    content = path.read_bytes()
    first = content.index(b"\n") + 1
    cut = data.draw(st.integers(first, len(content) - 1))
    path.write_bytes(content[:cut])
    for share, half in kept.items():
        share.write_bytes(half)

    resumed = Session.resume(path)
    assert resumed.answered == min(4, content[first:cut].count(b"\n"))
    while not resumed.finished:
        resumed.answer(answers[resumed.answered])
    assert resumed.outcome == session.outcome
    check = verify(path)
    assert (check.state, check.outcome) == ("complete", session.outcome)
    assert not any(share.exists() for share in kept)


def test_the_seed_is_kept_by_its_owner_and_only_until_the_end(tmp_path: Path) -> None:
    session = Session.start(plan(trials=1), tmp_path / "log")
    kept = shares(session)
    assert [share.stat().st_mode & 0o777 for share in kept] == [0o600, 0o600]
    assert kept[1].parent.stat().st_mode & 0o777 == 0o700
    session.answer(0)
    assert not any(share.exists() for share in kept)


def test_what_cannot_be_resumed_is_said(tmp_path: Path) -> None:
    path = tmp_path / "log"
    session = Session.start(plan(), path)
    kept, _ = shares(session)
    session.answer(0)
    session.close_log()
    share, content = kept.read_bytes(), path.read_bytes()

    kept.unlink()
    with pytest.raises(TrialError, match=r"half of its seed, .*\.log\.share, is gone"):
        Session.resume(path)
    kept.write_bytes(b"00" * 32)
    with pytest.raises(TrialError, match="this is not half of the seed of log"):
        Session.resume(path)
    kept.write_bytes(b"nonsense")
    with pytest.raises(TrialError, match="64 hexadecimal digits"):
        Session.resume(path)
    kept.write_bytes(share)
    path.write_bytes(content.replace(b'"answer":0', b'"answer":1'))
    with pytest.raises(TrialError, match="line 2: was changed"):
        Session.resume(path)
    path.write_bytes(content)
    Session.resume(path).give_up()
    with pytest.raises(TrialError, match="has ended and cannot be resumed"):
        Session.resume(path)
    with pytest.raises(TrialError, match="cannot be read"):
        Session.resume(tmp_path / "missing")


@pytest.mark.parametrize("given_up", [False, True])
def test_a_seed_left_beside_an_ended_session_goes_when_it_is_resumed(
    tmp_path: Path, given_up: bool
) -> None:
    """Killed between its last line and the deletion of its seed."""
    path = tmp_path / "log"
    session = Session.start(plan(trials=1), path)
    kept = {share: share.read_bytes() for share in shares(session)}
    if given_up:
        session.give_up()
    else:
        session.answer(0)
    for share, content in kept.items():
        share.write_bytes(content)
    with pytest.raises(TrialError, match="has ended and cannot be resumed"):
        Session.resume(path)
    assert not any(share.exists() for share in kept)


def test_two_programs_cannot_hold_one_session(tmp_path: Path) -> None:
    first = Session.start(plan(), tmp_path / "log.jsonl")
    first.answer(0)
    assert cut_off(tmp_path) == []
    with pytest.raises(TrialError, match="going on in another bench"):
        Session.resume(tmp_path / "log.jsonl")
    first.close_log()
    first.close_log()  # twice is as good as once
    second = Session.resume(tmp_path / "log.jsonl")
    second.answer(1)
    second.give_up()
    assert verify(tmp_path / "log.jsonl").answered == 2


def test_only_what_can_be_gone_on_with_is_offered(tmp_path: Path) -> None:
    for name in "febdca":
        session = Session.start(plan(), tmp_path / f"{name}.jsonl")
        if name == "f":
            session.give_up()
            (tmp_path / ".f.jsonl.share").write_text("0" * 64)  # its deletion was cut off
        else:
            session.close_log()
    (tmp_path / ".e.jsonl.share").unlink()
    (tmp_path / "d.jsonl").write_text("something else")
    going_on = Session.resume(tmp_path / "c.jsonl")
    assert [check.path.name for check in cut_off(tmp_path)] == ["a.jsonl", "b.jsonl"]
    going_on.close_log()
    assert [check.path.name for check in cut_off(tmp_path)] == ["a.jsonl", "b.jsonl", "c.jsonl"]


def test_what_something_else_writes_into_a_log_is_noticed(tmp_path: Path) -> None:
    session = Session.start(plan(), tmp_path / "log.jsonl")
    with (tmp_path / "log.jsonl").open("a") as file:
        file.write("notes\n")
    with pytest.raises(TrialError, match="something else wrote"):
        session.answer(1)


def test_a_session_whose_end_could_not_be_written_ends_when_it_can(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: nothing is asked or answered any more, and all answers count."""
    path = tmp_path / "log.jsonl"
    session = Session.start(plan(trials=2), path)
    session.answer(0)
    append = Log.append

    def full(log: Log, record: dict[str, object]) -> None:
        if record["record"] == "closing":
            raise TrialError("the disk is full")
        append(log, record)

    monkeypatch.setattr(Log, "append", full)
    for _ in range(3):
        with pytest.raises(TrialError, match="disk is full"):
            session.answer(1)
    assert not session.finished
    with pytest.raises(TrialError, match="the outcome is known after 2 answers"):
        _ = session.outcome
    with pytest.raises(TrialError, match="all trials are answered"):
        session.present(0, lambda choice: None)
    monkeypatch.undo()
    session.answer(1)
    assert session.finished
    check = verify(path)
    assert (check.state, check.answered) == ("complete", 2)
    assert not any(share.exists() for share in shares(session))


def test_two_logs_of_one_session_that_differ_do_not_count(tmp_path: Path) -> None:
    """One of them could have shown its order before the other was answered."""
    session = Session.start(plan(trials=3), tmp_path / "a.jsonl")
    session.close_log()
    apart = share_apart(session.commitment)
    share = apart.read_bytes()
    for name in ("a.jsonl", ".a.jsonl.share"):
        (tmp_path / name.replace("a.", "b.")).write_bytes((tmp_path / name).read_bytes())
    for name, answer in (("a.jsonl", 0), ("b.jsonl", 1)):
        apart.write_bytes(share)
        twin = Session.resume(tmp_path / name)
        for _ in range(3):
            twin.answer(answer)
    paths = [tmp_path / "a.jsonl", tmp_path / "b.jsonl"]
    assert all(verify(path).outcome for path in paths)
    summary = summarise(paths)
    assert [check.state for check in summary.checks] == ["refused", "refused"]
    assert not summary.pools
    assert "another log of the same session differs" in " ".join(summary.sentences)


def test_the_end_is_told_also_where_the_seed_cannot_be_deleted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session = Session.start(plan(trials=1), tmp_path / "log.jsonl")

    def refuse(path: Path, missing_ok: bool = False) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "unlink", refuse)
    session.answer(0)
    assert session.outcome.result.trials == 1


def test_resuming_takes_nothing_from_a_session_that_still_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "log"
    first = Session.start(plan(), path)
    read = trial_module.read_log

    def read_just_before_an_answer(log_path: Path) -> object:
        reading = read(log_path)
        first.answer(0)
        return reading

    monkeypatch.setattr(trial_module, "read_log", read_just_before_an_answer)
    with pytest.raises(TrialError, match="going on in another bench"):
        Session.resume(path)
    monkeypatch.undo()
    first.answer(1)
    assert (verify(path).answered, verify(path).discrepancies) == (2, ())


def test_resuming_takes_nothing_from_a_session_that_has_just_gone_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another bench resumed it, took an answer and let go, all after this one had read it."""
    path = tmp_path / "log"
    first = Session.start(plan(), path)
    read = trial_module.read_log

    def read_just_before_an_answer(log_path: Path) -> object:
        reading = read(log_path)
        first.answer(0)
        first.close_log()
        return reading

    monkeypatch.setattr(trial_module, "read_log", read_just_before_an_answer)
    with pytest.raises(TrialError, match="something else wrote into this log"):
        Session.resume(path)
    monkeypatch.undo()
    assert (verify(path).answered, verify(path).discrepancies) == (1, ())
