"""Logs written by an earlier version, kept as they were: whoever holds one can have it checked."""

from pathlib import Path

import pytest

from auralize.trials.checking import verify

LOGS = Path(__file__).parent / "logs"


@pytest.mark.parametrize(
    ("name", "listener", "right", "answers", "fingerprint"),
    [
        (
            "triangle.jsonl",
            "listener 1",
            (2, 0, 1, 1, 1, 0),
            (2, 0, 1, 1, 2, 0),
            "2ee550cb5b532df926be96ae9344e372a1d49d29d6d54b6c201e035c7212064b",
        ),
        (
            "matched.jsonl",
            "listener 2",
            (0, 0, 0, 1, 1),
            (0, 0, 0, 1, 0),
            "2db581fcaf73e8acd8ce1872e57d53d43a87cade0ae55e8154531df7415f90d5",
        ),
    ],
)
def test_a_log_of_an_earlier_version_still_counts(
    name: str,
    listener: str,
    right: tuple[int, ...],
    answers: tuple[int, ...],
    fingerprint: str,
) -> None:
    check = verify(LOGS / name)
    assert (check.state, check.discrepancies, check.fingerprint) == ("complete", (), fingerprint)
    assert check.plan is not None
    assert check.plan.listener == listener
    assert [(c.name, c.gain_db, c.built) for c in check.plan.choices] == [
        ("reel", 0.0, "62 m twin"),
        ("pair", -0.42, "62 m twisted"),
    ]
    assert check.outcome is not None
    assert (check.outcome.right, check.outcome.answers) == (right, answers)
    assert check.outcome.correct == len(answers) - 1


def test_that_it_was_resumed_is_still_told() -> None:
    assert verify(LOGS / "triangle.jsonl").remarks == (
        "cut off and resumed at 2026-01-15T20:04:00.000+00:00",
    )


def test_one_that_was_given_up_still_counts_for_nothing() -> None:
    check = verify(LOGS / "given-up.jsonl")
    assert (check.state, check.answered, check.discrepancies) == ("given up", 1, ())
    assert check.outcome is None
