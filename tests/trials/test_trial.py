"""Blind sessions: nothing known before the end, everything checkable after it, nothing lost by a kill."""

import hashlib
import json
import os
import random
import secrets
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import stats

from auralize import trial as trial_module
from auralize.errors import AuralizeError
from auralize.trial import Practice, Session
from auralize.trialcheck import Check, cut_off, summarise, verify
from auralize.triallog import Log
from auralize.trialplan import (
    ANSWERS,
    PRESENTATIONS,
    Choice,
    Plan,
    TrialError,
    commitment,
    order,
)
from auralize.trialstats import GUESSING, Protocol

PROTOCOLS: list[Protocol] = ["matched-to-sample", "triangle"]
SEED = bytes(range(32))
untimed = settings(
    deadline=None,
    max_examples=40,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def plan(protocol: Protocol = "triangle", trials: int = 12, listener: str = "listener 1") -> Plan:
    return Plan(
        protocol=protocol,
        trials=trials,
        choices=(
            Choice("reel", 0.0, "62 m twin", "0" * 64),
            Choice("pair", -0.42, "62 m twisted", "0" * 64),
        ),
        match="programme loudness",
        programme="tide-mill.wav",
        programme_sha256=hashlib.sha256(b"tide mill").hexdigest(),
        listener=listener,
    )


@pytest.fixture
def unsynced(monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests with thousands of records: that they reach the disk is tested elsewhere."""
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)


@pytest.fixture
def seeded(monkeypatch: pytest.MonkeyPatch) -> random.Random:
    """Seeds from a seeded generator, so that a test by chance has one outcome."""
    generator = random.Random(10399)
    monkeypatch.setattr(secrets, "token_bytes", generator.randbytes)
    monkeypatch.setattr(secrets, "randbelow", generator.randrange)
    return generator


def hear(session: Session | Practice, presentation: int) -> int:
    """What somebody hears who can tell the two apart for certain."""
    heard: list[int] = []
    session.present(presentation, heard.append)
    return heard[0]


def sure_answer(session: Session | Practice) -> int:
    sounds = [hear(session, presentation) for presentation in range(3)]
    if isinstance(session, Session) and session.plan.protocol == "matched-to-sample":
        return sounds[2]
    return next(i for i, sound in enumerate(sounds) if sounds.count(sound) == 1)


def run(path: Path, what: Plan, answer: Callable[[Session], int]) -> Session:
    session = Session.start(what, path)
    while not session.finished:
        session.answer(answer(session))
    return session


# ---- order


def test_order_by_tools_that_know_nothing_of_python() -> None:
    """The rule at the head of the module, followed with sha256sum and sed."""
    script = r"""
    for c in 0 1 2 3; do
        printf '%s%016x' "$1" "$c" | sed 's/../\\x&/g' | xargs -0 printf '%b' | sha256sum | cut -c 1-64
    done | sed 's/../0x& /g' | tr '\n' ' '
    """
    output = subprocess.run(
        ["bash", "-c", script, "-", SEED.hex()], capture_output=True, text=True, check=True
    ).stdout
    stream = [int(byte, 16) for byte in output.split()]
    assert len(stream) == 4 * 32

    x = [byte % 2 for byte in stream]
    assert [a.right for a in order(SEED, "matched-to-sample", 128)] == x
    draws = [byte % 6 for byte in stream if byte < 252]
    assert len(draws) < 128  # some byte was rejected, so that the rule matters
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
    with pytest.raises(TrialError, match="cannot be written: no space left"):
        Session.start(plan(), tmp_path / "log")
    assert not (tmp_path / "log").exists()


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


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"protocol": "pairs"}, "protocol: 'matched-to-sample' or 'triangle' is expected"),
        ({"trials": 0}, "trials: from 1 to 10000 are expected, not 0"),
        ({"trials": 2.0}, "trials: from 1"),
        ({"listener": " "}, "listener: printable text is expected"),
        ({"listener": "x" * 501}, "listener: up to 500 characters"),
        (
            {"choices": (Choice("a", 0.0, "twin", "0" * 64), Choice("b", 0.0, "", "0" * 64))},
            "build of the second choice",
        ),
        ({"programme": "\x1b[2J"}, "programme: printable text is expected"),
        ({"programme_sha256": "AB" * 32}, "its SHA-256 is expected"),
        ({"choices": (Choice("one", 0.0, "twin", "0" * 64),)}, "choices: two are compared, not 1"),
        (
            {
                "choices": (
                    Choice("a", 0.0, "twin", "0" * 64),
                    Choice("b", float("nan"), "twin", "0" * 64),
                )
            },
            "gain of b: decibels",
        ),
    ],
)
def test_a_plan_that_cannot_be_is_refused(change: dict[str, object], message: str) -> None:
    with pytest.raises(TrialError, match=message):
        replace(plan(), **change)  # type: ignore[arg-type]
    assert issubclass(TrialError, AuralizeError)


@pytest.mark.parametrize("index", [-1, 3, True, 1.0, "1"])
def test_an_answer_outside_the_protocol_is_refused(tmp_path: Path, index: object) -> None:
    session = Session.start(plan(), tmp_path / "log")
    with pytest.raises(TrialError, match="answer: a number from 0 to 2 is expected"):
        session.answer(index)  # type: ignore[arg-type]
    assert session.answered == 0


# ---- blindness


def public(session: Session) -> dict[str, str]:
    """All that a screen, a debugger's printout or a reader of the log can get before the end."""
    shown = {"repr": repr(session), "str": str(session), "vars": repr(vars(session))}
    for name in dir(session):
        if not name.startswith("_"):
            try:
                value = getattr(session, name)
            except TrialError as error:
                value = error
            if not callable(value):
                shown[name] = repr(value)
    shown["log"] = session._log.path.read_text()
    return shown


def test_seed_and_order_are_nowhere_before_the_end(tmp_path: Path) -> None:
    path = tmp_path / "log"
    session = Session.start(plan(trials=40), path)
    seed = (tmp_path / ".log.seed").read_text()
    assert commitment(bytes.fromhex(seed), path.read_bytes().split(b',"commitment"')[0]) == (
        session.commitment
    )
    right = [a.right for a in order(bytes.fromhex(seed), "triangle", 40)]
    for index in range(39):
        session.answer(index % 3)
        for shown in public(session).values():
            assert seed not in shown
            assert "Arrangement" not in shown
            assert "".join(map(str, right)) not in shown
            assert str(right) not in shown
            assert "correct" not in shown
    session.answer(0)
    assert seed in path.read_text()
    assert session.outcome.right == tuple(right)


def test_the_order_cannot_be_copied_out(tmp_path: Path) -> None:
    import copy
    import pickle

    session = Session.start(plan(), tmp_path / "log")
    for attempt in (pickle.dumps, copy.copy, copy.deepcopy):
        with pytest.raises(TypeError, match="cannot be copied"):
            attempt(session._hidden)


def test_log_grows_alike_for_right_and_wrong_answers(tmp_path: Path) -> None:
    session = Session.start(plan(trials=9), tmp_path / "log")
    sizes = [(tmp_path / "log").stat().st_size]
    for trial in range(8):
        session.answer((sure_answer(session) + trial) % 3)  # right, wrong, wrong, right, ...
        sizes.append((tmp_path / "log").stat().st_size)
    assert len({after - before for before, after in pairwise(sizes)}) == 1


def seen_by(session: Session, given: int, times: list[int]) -> dict[str, int]:
    """Numbers that an automatic listener draws from all that is public; each modulo ways is a rule."""
    seen = {
        "same again": given,
        "the next": given + 1,
        "time": times[-1] // 1000,
        "slower": int(times[-1] > sorted(times)[len(times) // 2]),
        "fingerprint": int(session.fingerprint, 16),
    }
    for bit in range(0, 256, 32):
        seen[f"commitment {bit}"] = int(session.commitment, 16) >> bit
        moving = (bit + session.answered) % 256
        seen[f"commitment, moving {bit}"] = int(session.commitment, 16) >> moving
    for name, text in public(session).items():
        shown = text.encode()
        seen[f"length of {name}"] = len(shown)
        seen[f"sum of {name}"] = sum(shown)
        seen[f"hash of {name}"] = hashlib.sha256(shown).digest()[0]
        for place in range(1, min(9, len(shown))):
            seen[f"{name} at -{place}"] = shown[-place]
    return seen


def automatic_score(folder: Path, protocol: Protocol) -> int:
    """Right answers of 2 000 of a listener that learns.

    After each session it gets the truth, counts how often each of its rules would have been right, and
    follows the best one in the next session.
    """
    ways = len(ANSWERS[protocol])
    merits: dict[str, int] = {}
    score = 0
    for number in range(40):
        session = Session.start(plan(protocol, 50), folder / f"log-{number}")
        rounds: list[dict[str, int]] = []
        times, given = [0], 0
        while not session.finished:
            rounds.append(seen_by(session, given, times))
            best = max(rounds[-1], key=lambda rule: merits.get(rule, 0))
            given = rounds[-1][best] % ways
            start = time.perf_counter_ns()
            session.answer(given)
            times.append(time.perf_counter_ns() - start)
        score += session.outcome.correct
        for seen, right in zip(rounds, session.outcome.right, strict=True):
            for rule, value in seen.items():
                merits[rule] = merits.get(rule, 0) + (value % ways == right)
    return score


@pytest.mark.parametrize("protocol", PROTOCOLS)
@pytest.mark.usefixtures("unsynced", "seeded")
def test_an_automatic_listener_scores_at_chance(tmp_path: Path, protocol: Protocol) -> None:
    """Within the central 1 - 1e-6 of the exact binomial."""
    low, high = stats.binom.interval(1 - 1e-6, 2000, float(GUESSING[protocol]))
    assert low <= automatic_score(tmp_path, protocol) <= high


@pytest.mark.usefixtures("unsynced", "seeded")
def test_the_automatic_listener_would_find_a_leak(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def leaking(session: Session) -> str:
        if session.finished:
            return "<Session>"
        return f"<Session {session._hidden.arrangements[session.answered].right}>"

    monkeypatch.setattr(Session, "__repr__", leaking)
    assert automatic_score(tmp_path, "triangle") > 1500


@pytest.mark.usefixtures("unsynced", "seeded")
def test_a_listener_who_hears_a_little_scores_above_chance(tmp_path: Path) -> None:
    """The same bench tells a real cue: right in 1 trial of 4 by ear, guessing in the others."""
    generator = random.Random(1)

    def answer(session: Session) -> int:
        return sure_answer(session) if generator.random() < 0.25 else generator.randrange(3)

    session = run(tmp_path / "log", plan(trials=500), answer)
    assert session.outcome.result.probability < 1e-6
    low, high = session.outcome.result.distinguishers_limits
    assert low < 0.25 < high


def test_practice_tells_and_is_kept_apart(tmp_path: Path, seeded: random.Random) -> None:
    practice = Practice("triangle")
    told = []
    for trial in range(30):
        right = sure_answer(practice)
        given = right if trial % 2 else (right + 1) % 3
        feedback = practice.answer(given)
        told.append(feedback.correct)
        assert feedback.right == right
    assert told == [False, True] * 15
    assert (practice.answered, practice.correct) == (30, 15)
    assert list(tmp_path.iterdir()) == []
    assert "arrangements" not in repr(vars(practice))


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_each_trial_of_practice_is_drawn_anew(protocol: Protocol, seeded: random.Random) -> None:
    practice = Practice(protocol)
    drawn = set()
    for _ in range(60):
        plays = tuple(hear(practice, presentation) for presentation in range(3))
        drawn.add((plays, practice.answer(0).right))
    assert len(drawn) == {"matched-to-sample": 2, "triangle": 6}[protocol]


# ---- killed and resumed

CHILD = """
import sys
from pathlib import Path
from auralize.trial import Session
from auralize.trialplan import Choice, Plan
choices = Choice("reel", 0.0, "twin", "0" * 64), Choice("pair", 0.0, "twisted", "0" * 64)
plan = Plan("triangle", 5000, choices, "as installed", "tide-mill.wav", "0" * 64, "listener 1")
session = Session.start(plan, Path(sys.argv[1]))
print(session.commitment, flush=True)
while True:
    session.answer(session.answered % 3)
    print(session.answered, flush=True)
"""


@pytest.mark.parametrize("answers", [0, 7])
def test_a_killed_session_loses_no_answer(tmp_path: Path, answers: int) -> None:
    path = tmp_path / "log"
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    with child.stdout as lines:
        noted = lines.readline().strip()
        for _ in range(answers):
            lines.readline()
        os.kill(child.pid, signal.SIGKILL)  # somewhere within the next answers
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
    path, seed_path = folder / "log", folder / ".log.seed"
    session = Session.start(plan(trials=4), path)
    seed = seed_path.read_bytes()
    answers = [sure_answer(session)]
    session.answer(answers[0])
    for index in (1, 2, 0):
        answers.append(index)
        session.answer(index)
    content = path.read_bytes()
    first = content.index(b"\n") + 1
    cut = data.draw(st.integers(first, len(content) - 1))
    path.write_bytes(content[:cut])
    seed_path.write_bytes(seed)

    resumed = Session.resume(path)
    assert resumed.answered == min(4, content[first:cut].count(b"\n"))
    while not resumed.finished:
        resumed.answer(answers[resumed.answered])
    assert resumed.outcome == session.outcome
    check = verify(path)
    assert (check.state, check.outcome) == ("complete", session.outcome)
    assert not seed_path.exists()


def test_the_seed_is_kept_by_its_owner_and_only_until_the_end(tmp_path: Path) -> None:
    session = Session.start(plan(trials=1), tmp_path / "log")
    kept = tmp_path / ".log.seed"
    assert kept.stat().st_mode & 0o777 == 0o600
    session.answer(0)
    assert not kept.exists()


def test_what_cannot_be_resumed_is_said(tmp_path: Path) -> None:
    path, kept = tmp_path / "log", tmp_path / ".log.seed"
    session = Session.start(plan(), path)
    session.answer(0)
    session.close_log()
    seed, content = kept.read_bytes(), path.read_bytes()

    kept.unlink()
    with pytest.raises(TrialError, match=r"its seed, \.log\.seed, is gone"):
        Session.resume(path)
    kept.write_bytes(b"00" * 32)
    with pytest.raises(TrialError, match="this seed is not the one of log"):
        Session.resume(path)
    kept.write_bytes(b"nonsense")
    with pytest.raises(TrialError, match="64 hexadecimal digits"):
        Session.resume(path)
    kept.write_bytes(seed)
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
    path, kept = tmp_path / "log", tmp_path / ".log.seed"
    session = Session.start(plan(trials=1), path)
    seed = kept.read_bytes()
    if given_up:
        session.give_up()
    else:
        session.answer(0)
    kept.write_bytes(seed)
    with pytest.raises(TrialError, match="has ended and cannot be resumed"):
        Session.resume(path)
    assert not kept.exists()


def test_two_programs_cannot_hold_one_session(tmp_path: Path) -> None:
    first = Session.start(plan(), tmp_path / "log")
    first.answer(0)
    assert cut_off(tmp_path) == []
    with pytest.raises(TrialError, match="going on in another bench"):
        Session.resume(tmp_path / "log")
    first.close_log()
    second = Session.resume(tmp_path / "log")
    second.answer(1)
    second.give_up()
    assert verify(tmp_path / "log").answered == 2


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
    with pytest.raises(TrialError, match="all trials are answered"):
        session.present(0, lambda choice: None)
    monkeypatch.undo()
    session.answer(1)
    assert session.finished
    check = verify(path)
    assert (check.state, check.answered) == ("complete", 2)
    assert not path.with_name(".log.jsonl.seed").exists()


def test_two_logs_of_one_session_that_differ_do_not_count(tmp_path: Path) -> None:
    """One of them could have shown its order before the other was answered."""
    session = Session.start(plan(trials=3), tmp_path / "a.jsonl")
    session.close_log()
    for name in ("a.jsonl", ".a.jsonl.seed"):
        (tmp_path / name.replace("a.", "b.")).write_bytes((tmp_path / name).read_bytes())
    for name, answer in (("a.jsonl", 0), ("b.jsonl", 1)):
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


# ---- edited logs


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, Check]:
    path = tmp_path_factory.mktemp("finished") / "log"
    run(path, plan(trials=6), lambda session: session.answered % 3)
    return path.read_bytes(), verify(path)


def check_of(folder: Path, content: bytes) -> Check:
    path = folder / "edited"
    path.write_bytes(content)
    return verify(path)


@untimed
@given(st.data())
def test_any_changed_byte_is_found(
    tmp_path: Path, finished: tuple[bytes, Check], data: st.DataObject
) -> None:
    content, _ = finished
    place = data.draw(st.integers(0, len(content) - 1))
    value = data.draw(st.integers(0, 255).filter(lambda new: new != content[place]))
    check = check_of(tmp_path, content[:place] + bytes([value]) + content[place + 1 :])
    assert check.state != "complete"
    assert check.outcome is None


@untimed
@given(st.data())
def test_any_missing_repeated_or_moved_line_is_found(
    tmp_path: Path, finished: tuple[bytes, Check], data: st.DataObject
) -> None:
    lines = finished[0].splitlines(keepends=True)
    one = data.draw(st.integers(0, len(lines) - 1))
    other = data.draw(st.integers(0, len(lines) - 1).filter(lambda other: other != one))
    swapped = list(lines)
    swapped[one], swapped[other] = swapped[other], swapped[one]
    for edited in (lines[:one] + lines[one + 1 :], [*lines, lines[one]], swapped):
        assert check_of(tmp_path, b"".join(edited)).outcome is None


def sealed_again(lines: list[bytes]) -> bytes:
    """A forger's work: all seals recomputed, by the rule at the head of the module."""
    seal, done = "", b""
    for line in lines:
        body = line.rpartition(b',"seal":')[0]
        seal = hashlib.sha256(seal.encode() + body).hexdigest()
        done += body + f',"seal":"{seal}"}}\n'.encode()
    return done


@untimed
@given(st.integers(1, 6), st.integers(0, 2))
def test_a_forged_answer_contradicts_seed_or_fingerprint(
    tmp_path: Path, finished: tuple[bytes, Check], trial: int, forged: int
) -> None:
    content, honest = finished
    assert honest.outcome is not None
    lines = content.splitlines()
    assert sealed_again(lines) == content
    given_, right = honest.outcome.answers[trial - 1], honest.outcome.right[trial - 1]
    lines[trial] = lines[trial].replace(
        f'"answer":{given_}'.encode(), f'"answer":{forged}'.encode()
    )
    check = check_of(tmp_path, sealed_again(lines))
    if (given_ == right) != (forged == right):
        assert "right answers are stated" in " ".join(check.discrepancies)
    if given_ != forged:
        assert check.fingerprint != honest.fingerprint


@untimed
@given(st.binary(min_size=32, max_size=32))
def test_a_forged_seed_contradicts_the_commitment(
    tmp_path: Path, finished: tuple[bytes, Check], forged: bytes
) -> None:
    content, honest = finished
    assert honest.outcome is not None
    lines = content.replace(honest.outcome.seed.encode(), forged.hex().encode()).splitlines()
    check = check_of(tmp_path, sealed_again(lines))
    assert "the commitment is not that of this seed and these facts" in check.discrepancies


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b'"listener":"listener 1"', b'"listener":"listener 2"', "the commitment is not that"),
        (b'"trials":6', b'"trials":7', "7 answers are expected, 6 are there"),
        (b'"trials":6', b'"trials":5', "an answer too many"),
        (b'"trial":3', b'"trial":4', "the answer to trial 3 is expected, not to 4"),
        (b'"answer":2', b'"answer":3', "a number from 0 to 2"),
        (b'"record":"answer"', b'"record":"note"', "a record 'note' is not known"),
        (b'"end":"complete"', b'"end":"good"', "an end 'complete' or 'given up'"),
        (b'"correct":', b'"correct":9', "right answers are stated"),
        (b'"correct":', b'"correct":null,"x":', "a number of right answers"),
        (b'"programme":', b'"program":', "the field 'programme' is missing"),
        (b"listening session 1", b"listening session 9", "the format"),
        (b'"gain_db":-0.42', b'"gain_db":NaN', "decibels are expected"),
        (b'"choices":[', b'"choices":[7,', "line 1"),
        (b'{"record":"answer"', b'["record":"answer"', "this is not JSON"),
    ],
)
def test_a_forged_log_is_told_what_is_wrong_with_it(
    tmp_path: Path, finished: tuple[bytes, Check], old: bytes, new: bytes, said: str
) -> None:
    content, _ = finished
    assert old in content
    check = check_of(tmp_path, sealed_again(content.replace(old, new, 1).splitlines()))
    assert check.state == "refused"
    assert said in "; ".join(check.discrepancies)
    assert "refused, it does not count" in check.sentences[0]


@untimed
@given(st.binary(max_size=300))
def test_any_other_file_is_refused_in_words(tmp_path: Path, content: bytes) -> None:
    check = check_of(tmp_path, content)
    assert check.state == "refused"
    assert check.discrepancies


# ---- several logs


def scripted(right: int) -> Callable[[Session], int]:
    """Right in the first trials, wrong in the others."""

    def answer(session: Session) -> int:
        return (sure_answer(session) + (session.answered >= right)) % len(
            ANSWERS[session.plan.protocol]
        )

    return answer


def test_summary_pools_what_asked_the_same_question(tmp_path: Path) -> None:
    for name, what, right in (
        ("a", plan(trials=12, listener="listener 1"), 9),
        ("b", plan(trials=18, listener="listener 2"), 6),
        ("c", plan("matched-to-sample", 8), 8),
        ("d", replace(plan(trials=3), match="as installed"), 0),
    ):
        run(tmp_path / name, what, scripted(right))
    Session.start(plan(), tmp_path / "e").answer(0)
    (tmp_path / "f").write_text("{}\n")
    shutil.copy(tmp_path / "a", tmp_path / "g")

    summary = summarise(tmp_path / name for name in "abcdefg")
    assert [check.state for check in summary.checks] == [
        *["complete"] * 4,
        "unfinished",
        "refused",
        "complete",
    ]
    assert summary.repeated == (tmp_path / "g",)
    scores = [(p.sessions, p.result.correct, p.result.trials) for p in summary.pools]
    assert scores == [(2, 15, 30), (1, 8, 8), (1, 0, 3)]
    assert summary.pools[0].listeners == ("listener 1", "listener 2")
    expected = stats.binomtest(15, 30, 1 / 3, alternative="greater").pvalue
    assert summary.pools[0].result.probability == pytest.approx(expected, rel=1e-10)

    text = " ".join(summary.sentences)
    assert "2 sessions by 2 listeners" in text
    assert "All trials are taken as independent" in text
    assert "where listeners differ their intervals are too short" in text
    assert "a second copy of the same session, counted once" in text
    assert "2 of 7 logs do not count" in text
    assert "no difference" not in text


def test_sessions_are_pooled_by_what_the_programme_is_and_not_by_its_name(tmp_path: Path) -> None:
    for name, programme, digits in (
        ("a", "tide-mill.wav", "1"),
        ("b", "renamed.wav", "1"),
        ("c", "tide-mill.wav", "2"),
    ):
        what = replace(plan(trials=2), programme=programme, programme_sha256=digits * 64)
        run(tmp_path / name, what, scripted(1))
    summary = summarise(tmp_path / name for name in "abc")
    assert [(p.sessions, p.plan.programme_sha256[0]) for p in summary.pools] == [(2, "1"), (1, "2")]


def test_presentations_and_answers_are_worded_for_every_protocol() -> None:
    for protocol in PROTOCOLS:
        assert len(PRESENTATIONS[protocol]) == 3
        assert len(ANSWERS[protocol]) == 1 / GUESSING[protocol]


def test_importing_the_bench_loads_no_screen_sound_or_scipy() -> None:
    script = (
        "import sys, auralize.trial; "
        "print([m for m in ('scipy', 'textual', 'sounddevice', 'numpy') if m in sys.modules])"
    )
    output = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    ).stdout
    assert output.strip() == "[]"
