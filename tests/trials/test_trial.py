"""Blind sessions: the order of trials, what is recorded and when, and what cannot be."""

import json
import os
import re
import subprocess
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from auralize.errors import AuralizeError
from auralize.trials.checking import verify
from auralize.trials.plan import ANSWERS, Compared, TrialError, order
from auralize.trials.session import Session
from auralize.trials.statistics import MOST_TRIALS, Protocol
from support.sessions import PROTOCOLS, plan, run, shares, sure_answer, untimed

SEED = bytes(range(32))


# ---- order


def test_order_by_tools_that_know_nothing_of_python() -> None:
    """The rule at the head of the module, followed with sha256sum and sed."""
    script = r"""
    for c in $(seq 0 15); do
        printf '%s%016x' "$1" "$c" | sed 's/../\\x&/g' | xargs -0 printf '%b' | sha256sum | cut -c 1-64
    done | sed 's/../0x& /g' | tr '\n' ' '
    """
    output = subprocess.run(
        ["bash", "-c", script, "-", SEED.hex()], capture_output=True, text=True, check=True
    ).stdout
    stream = [int(byte, 16) for byte in output.split()]
    assert len(stream) == 16 * 32
    assert {251, 252} <= set(stream)  # the last that is taken, and the first that is not

    x = [byte % 2 for byte in stream]
    assert [a.right for a in order(SEED, "matched-to-sample", len(x))] == x
    draws = [byte % 6 for byte in stream if byte < 252]
    assert [a.right for a in order(SEED, "triangle", len(draws))] == [d // 2 for d in draws]
    twice = [sorted(a.plays)[1] for a in order(SEED, "triangle", len(draws))]
    assert twice == [d % 2 for d in draws]


@untimed
@given(st.binary(min_size=32, max_size=32), st.integers(1, 200), st.integers(1, 200))
def test_order_of_fewer_trials_is_the_beginning_of_more(seed: bytes, few: int, more: int) -> None:
    few, more = sorted((few, more))
    for protocol in PROTOCOLS:
        assert order(seed, protocol, more)[:few] == order(seed, protocol, few)


@untimed
@given(st.binary(min_size=32, max_size=32))
def test_arrangements_obey_their_protocol(seed: bytes) -> None:
    for arrangement in order(seed, "matched-to-sample", 50):
        assert arrangement.plays == (0, 1, arrangement.right)
    for arrangement in order(seed, "triangle", 50):
        odd = arrangement.plays[arrangement.right]
        assert arrangement.plays.count(odd) == 1


def test_order_is_uniform_and_independent() -> None:
    """Chi-squared over single arrangements and over pairs of neighbours, 30 000 draws."""
    for protocol, ways in (("matched-to-sample", 2), ("triangle", 6)):
        drawn = order(SEED, protocol, 30_000)  # type: ignore[arg-type]
        kinds = sorted(set(drawn), key=repr)
        assert len(kinds) == ways
        counts = [drawn.count(kind) for kind in kinds]
        assert stats.chisquare(counts).pvalue > 1e-3
        index = {kind: i for i, kind in enumerate(kinds)}
        pairs = [0] * ways**2
        for one, next_one in zip(drawn[::2], drawn[1::2], strict=True):
            pairs[index[one] * ways + index[next_one]] += 1
        assert stats.chisquare(pairs).pvalue > 1e-3


# ---- sessions


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_a_listener_who_hears_everything_is_always_right(
    tmp_path: Path, protocol: Protocol
) -> None:
    session = run(tmp_path / "log", plan(protocol, 16), sure_answer)
    assert session.outcome.correct == 16
    assert verify(tmp_path / "log").outcome == session.outcome


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_verify_agrees_with_the_session(tmp_path: Path, protocol: Protocol) -> None:
    path = tmp_path / "log"
    what = plan(protocol, 15)
    session = Session.start(what, path)
    before = session.commitment
    for index in range(15):
        session.answer(index % len(ANSWERS[protocol]))
    check = verify(path)
    assert (check.state, check.discrepancies, check.remarks) == ("complete", (), ())
    assert check.plan == what
    assert check.commitment == before
    assert check.outcome == session.outcome
    assert check.fingerprint == session.fingerprint


def test_witness_checks_the_commitment_with_sha256sum(tmp_path: Path) -> None:
    path = tmp_path / "log"
    noted = Session.start(plan(trials=1), path)
    noted.answer(0)
    script = r"""
    seed=$(sed -n 's/.*"seed":"\([0-9a-f]*\)".*/\1/p' "$1")
    { printf '%s' "$seed" | sed 's/../\\x&/g' | xargs -0 printf '%b'
      head -n 1 "$1" | tr -d '\n' | sed 's/,"commitment":.*//'; } | sha256sum | cut -c 1-64
    """
    output = subprocess.run(
        ["bash", "-c", script, "-", str(path)], capture_output=True, text=True, check=True
    ).stdout
    assert output.strip() == noted.commitment


def test_log_says_what_was_compared(tmp_path: Path) -> None:
    run(tmp_path / "log", plan(trials=2), lambda session: 0)
    records = [json.loads(line) for line in (tmp_path / "log").read_text().splitlines()]
    assert [record["record"] for record in records] == ["opening", "answer", "answer", "closing"]
    opening = records[0]
    assert opening["choices"][1] == {
        "name": "pair",
        "gain_db": -0.42,
        "built": "62 m twisted",
        "rig_sha256": "0" * 64,
    }
    assert (opening["protocol"], opening["trials"]) == ("triangle", 2)
    assert opening["match"] == "programme loudness"
    assert opening["listener"] == "listener 1"
    assert set(records[1]) == {"record", "trial", "answer", "at", "seal"}
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", records[1]["at"])


def test_an_answer_is_on_the_disk_before_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session = Session.start(plan(), tmp_path / "log")
    synced: list[int] = []
    monkeypatch.setattr(os, "fsync", lambda descriptor: synced.append(os.fstat(descriptor).st_size))
    for count in range(1, 4):
        session.answer(0)
        assert len(synced) == count
        assert synced[-1] == (tmp_path / "log").stat().st_size


def test_the_seed_is_on_the_disk_before_the_first_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[tuple[int, int]] = []

    def sync(descriptor: int) -> None:
        found = os.fstat(descriptor)
        synced.append((found.st_ino, found.st_size))

    monkeypatch.setattr(os, "fsync", sync)
    session = Session.start(plan(), tmp_path / "log")
    session.close_log()
    apart, beside = shares(session)[::-1]
    files = [path.stat() for path in (session.log_path, apart, beside)]
    assert synced == [(found.st_ino, found.st_size) for found in files]


def test_a_seed_whose_log_is_gone_is_in_nobody_s_way(tmp_path: Path) -> None:
    kept = tmp_path / ".log.share"
    kept.write_text("0" * 64)
    Session.start(plan(), tmp_path / "log").close_log()
    assert kept.read_text() != "0" * 64
    assert Session.resume(tmp_path / "log").answered == 0


def test_a_log_is_never_overwritten(tmp_path: Path) -> None:
    (tmp_path / "log").write_text("kept")
    with pytest.raises(TrialError, match="a log of that name exists"):
        Session.start(plan(), tmp_path / "log")
    assert (tmp_path / "log").read_text() == "kept"


def test_a_session_that_cannot_begin_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    before = os.listdir("/dev/fd")
    with pytest.raises(TrialError, match="cannot be written: no space left"):
        Session.start(plan(), tmp_path / "log")
    assert list(tmp_path.iterdir()) == []
    assert os.listdir("/dev/fd") == before


def test_an_answer_that_cannot_be_written_can_be_given_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "log"
    session = Session.start(plan(trials=3), path)
    whole = path.read_bytes()

    def half(descriptor: int, line: bytes) -> int:
        return real(descriptor, line[:20])

    real = os.write
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", half)
        with pytest.raises(TrialError, match="the disk is full"):
            session.answer(1)
    assert (session.answered, path.read_bytes()) == (0, whole)
    for _ in range(3):
        session.answer(1)
    assert verify(path).state == "complete"


def test_a_log_that_changes_under_the_session_is_refused(tmp_path: Path) -> None:
    session = Session.start(plan(), tmp_path / "log")
    with open(tmp_path / "log", "a") as other:
        other.write("x")
    with pytest.raises(TrialError, match="something else wrote"):
        session.answer(0)


def test_nothing_can_be_answered_after_the_end(tmp_path: Path) -> None:
    session = run(tmp_path / "log", plan(trials=1), lambda session: 0)
    for call in (partial(session.answer, 0), partial(session.present, 0, print), session.give_up):
        with pytest.raises(TrialError, match="this session has ended"):
            call()


def test_given_up_shows_its_seed_and_does_not_count(tmp_path: Path) -> None:
    path = tmp_path / "log"
    session = Session.start(plan(trials=4), path)
    session.answer(2)
    session.give_up()
    with pytest.raises(TrialError, match="after 4 answers, not after 1"):
        _ = session.outcome
    check = verify(path)
    assert (check.state, check.answered, check.outcome) == ("given up", 1, None)
    assert list(tmp_path.iterdir()) == [path]
    assert "given up, 1 of 4 answered, it does not count" in " ".join(check.sentences)


def pair_with(**change: object) -> tuple[Compared, Compared]:
    first, second = plan().choices
    return first, replace(second, **change)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"protocol": "pairs"}, "protocol: 'matched-to-sample' or 'triangle' is expected"),
        ({"trials": 0}, "trials: from 1 to 10000 are expected, not 0"),
        ({"trials": 2.0}, "trials: from 1"),
        ({"listener": " "}, "listener: printable text is expected"),
        ({"listener": "x" * 501}, "listener: up to 500 characters"),
        (
            {"choices": (Compared("a", 0.0, "twin", "0" * 64), Compared("b", 0.0, "", "0" * 64))},
            "build of the second choice",
        ),
        ({"programme": "\x1b[2J"}, "programme: printable text is expected"),
        ({"programme_sha256": "AB" * 32}, "its SHA-256 is expected"),
        (
            {"choices": (Compared("one", 0.0, "twin", "0" * 64),)},
            "choices: two are compared, not 1",
        ),
        (
            {
                "choices": (
                    Compared("a", 0.0, "twin", "0" * 64),
                    Compared("b", float("nan"), "twin", "0" * 64),
                )
            },
            "gain of b: decibels",
        ),
        ({"choices": pair_with(gain_db="loud")}, "gain of pair: decibels are expected, not 'loud'"),
        ({"choices": pair_with(gain_db=True)}, "gain of pair: decibels are expected, not True"),
        ({"choices": pair_with(rig_sha256="0" * 63)}, "rig of pair: its SHA-256 is expected"),
        ({"choices": pair_with(name="")}, "name of the second choice: printable text"),
        ({"match": ""}, "level match: printable text is expected"),
        ({"trials": MOST_TRIALS + 1}, "trials: from 1 to 10000 are expected, not 10001"),
    ],
)
def test_a_plan_that_cannot_be_is_refused(change: dict[str, object], message: str) -> None:
    with pytest.raises(TrialError, match=message):
        replace(plan(), **change)  # type: ignore[arg-type]
    assert issubclass(TrialError, AuralizeError)


def test_a_plan_goes_as_far_as_it_may() -> None:
    assert replace(plan(), trials=MOST_TRIALS, listener="x" * 500).trials == MOST_TRIALS


@pytest.mark.parametrize("index", [-1, 3, True, 1.0, "1"])
def test_an_answer_outside_the_protocol_is_refused(tmp_path: Path, index: object) -> None:
    session = Session.start(plan(), tmp_path / "log")
    with pytest.raises(TrialError, match="answer: a number from 0 to 2 is expected"):
        session.answer(index)  # type: ignore[arg-type]
    assert session.answered == 0
