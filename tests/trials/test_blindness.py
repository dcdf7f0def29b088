"""Blindness: nothing known before the end, and no listener without ears above chance."""

import hashlib
import random
import secrets
import time
from itertools import pairwise
from pathlib import Path

import pytest
from scipy import stats

from auralize.trials.plan import ANSWERS, TrialError, commitment, order
from auralize.trials.session import Practice, Session
from auralize.trials.statistics import GUESSING, Protocol
from support.sessions import PROTOCOLS, hear, joined, plan, run, shares, sure_answer


@pytest.fixture
def seeded(monkeypatch: pytest.MonkeyPatch) -> random.Random:
    """Seeds from a seeded generator, so that a test by chance has one outcome."""
    generator = random.Random(10399)
    monkeypatch.setattr(secrets, "token_bytes", generator.randbytes)
    monkeypatch.setattr(secrets, "randbelow", generator.randrange)
    return generator


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
    seed = joined(*shares(session))
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
