"""What is kept of the seed of a session that runs: two halves in two places, neither of which tells it."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from auralize.live.remembered import Volumes, state_path
from auralize.trials.checking import cut_off, verify
from auralize.trials.plan import TrialError, commitment, order
from auralize.trials.seeds import keep_seed, share_apart, share_beside
from auralize.trials.session import Session
from support.sessions import joined, plan, shares


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A state folder of this test alone; not there yet."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return tmp_path / "state" / "auralize"


@pytest.fixture
def homeless(monkeypatch: pytest.MonkeyPatch) -> None:
    """A user without HOME and without an entry in the list of users."""
    for name in ("XDG_STATE_HOME", "HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(os.path, "expanduser", lambda path: path)


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    (tmp_path / "trials").mkdir()
    return tmp_path / "trials"


def files_below(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def test_no_single_file_holds_the_seed(tmp_path: Path, state: Path, logs: Path) -> None:
    """Neither is one of its shares the seed by another name."""
    session = Session.start(plan(trials=200), logs / "log")
    seed = session._hidden.seed
    assert seed.hex() == joined(*shares(session))
    facts = (logs / "log").read_bytes().split(b',"commitment"')[0]
    assert commitment(seed, facts) == session.commitment
    found = files_below(tmp_path)
    assert sorted(found) == sorted([logs / "log", *shares(session)])
    for path in found:
        content = path.read_bytes()
        assert seed not in content
        assert seed.hex().encode() not in content
    for share in shares(session):
        taken_for_it = bytes.fromhex(share.read_text())
        assert order(taken_for_it, "triangle", 200) != session._hidden.arrangements
        assert commitment(taken_for_it, facts) != session.commitment


def test_a_share_says_nothing_of_its_seed(
    state: Path, logs: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With one and the same seed, each bit of either share is set about half of the time.

    Of 200 sessions, a bit that was fixed would be set 0 or 200 times; 50 to 150 is 7 standard deviations.
    """
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)
    seed, log, committed = bytes(range(32)), logs / "log", "0" * 64
    counts = {share_beside(log): [0] * 256, share_apart(committed): [0] * 256}
    for _ in range(200):
        assert keep_seed(log, committed, seed) == ""
        for path, count in counts.items():
            bits = int(path.read_text(), 16)
            for bit in range(256):
                count[bit] += bits >> bit & 1
    assert all(50 < number < 150 for count in counts.values() for number in count)


@pytest.mark.parametrize("there_before", [False, True])
def test_shares_are_their_owner_s_alone_and_go_at_the_end(
    state: Path, logs: Path, there_before: bool
) -> None:
    if there_before:
        state.mkdir(0o755, parents=True)
    session = Session.start(plan(trials=1), logs / "log")
    assert [path.stat().st_mode & 0o777 for path in shares(session)] == [0o600, 0o600]
    assert stat.S_IMODE(state.stat().st_mode) == 0o700
    session.answer(0)
    assert files_below(logs.parent) == [logs / "log"]


def test_a_session_moved_to_another_folder_can_still_be_gone_on_with(
    state: Path, logs: Path
) -> None:
    Session.start(plan(), logs / "a.jsonl").close_log()
    logs.rename(logs.with_name("moved"))
    (check,) = cut_off(logs.with_name("moved"))
    Session.resume(check.path).give_up()
    assert files_below(state) == []


def test_without_a_home_a_session_runs_and_cannot_be_gone_on_with(
    logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    session = Session.start(plan(trials=2), logs / "a.jsonl")
    assert session.caution == (
        "if this session is cut off, it cannot be gone on with: half of its seed cannot be kept in "
        f"{tmp_path / 'file' / 'auralize'}: not a directory"
    )
    assert [path.name for path in logs.iterdir()] == ["a.jsonl"]  # half a seed would be of no use
    session.answer(0)
    session.close_log()
    assert cut_off(logs) == []
    with pytest.raises(TrialError, match=r"cannot be resumed: half of its seed, .* is gone"):
        Session.resume(logs / "a.jsonl")

    whole = Session.start(plan(trials=1), logs / "b.jsonl")
    whole.answer(0)
    assert verify(logs / "b.jsonl").state == "complete"


@pytest.mark.usefixtures("homeless")
def test_where_no_home_is_known_nothing_is_made_in_the_working_folder(
    logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    volumes = Volumes(state_path())
    volumes.put("quay", -12.0)
    volumes.save()
    assert Session.start(plan(), logs / "a.jsonl").caution.endswith(
        "no home is known: not a directory"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["trials"]


def test_what_an_earlier_version_began_is_refused(state: Path, logs: Path) -> None:
    """It kept the seed in one file that anybody could read."""
    session = Session.start(plan(), logs / "a.jsonl")
    session.close_log()
    (logs / ".a.jsonl.seed").write_text(joined(*shares(session)))
    for share in shares(session):
        share.unlink()
    assert cut_off(logs) == []
    with pytest.raises(TrialError, match="an earlier version began it, and kept its seed where"):
        Session.resume(logs / "a.jsonl")


@pytest.mark.parametrize("committed", ["../../elsewhere", "0" * 63, ""])
def test_a_log_cannot_name_a_file_elsewhere(logs: Path, state: Path, committed: str) -> None:
    session = Session.start(plan(), logs / "a.jsonl")
    session.close_log()
    content = (logs / "a.jsonl").read_text().replace(session.commitment, committed)
    (logs / "a.jsonl").write_text(content)
    with pytest.raises(TrialError, match="cannot be resumed"):
        Session.resume(logs / "a.jsonl")
    assert verify(logs / "a.jsonl").state == "refused"
    assert cut_off(logs) == []
    assert all(share.exists() for share in shares(session))
