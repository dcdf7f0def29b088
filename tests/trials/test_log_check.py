"""Logs that were edited, forged or cut, and several logs taken together."""

import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from auralize.trials import checking
from auralize.trials.checking import Check, summarise, verify
from auralize.trials.plan import ANSWERS, PRESENTATIONS, TrialError
from auralize.trials.session import Session
from auralize.trials.statistics import GUESSING
from support.forged import sealed_again
from support.sessions import PROTOCOLS, plan, run, sure_answer, untimed

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


RESUMED = b'{"record":"resumed","at":"noon","seal":""}'


@pytest.mark.parametrize(
    ("place", "said"),
    [
        (0, "line 1: the opening record is expected first, and only there"),
        (1, ""),
        (8, "line 9: nothing can follow the closing record"),
    ],
)
def test_where_a_record_may_stand(
    tmp_path: Path, finished: tuple[bytes, Check], place: int, said: str
) -> None:
    lines = finished[0].splitlines()
    assert len(lines) == 8
    lines.insert(place, RESUMED)
    check = check_of(tmp_path, sealed_again(lines))
    assert said in "; ".join(check.discrepancies)
    assert bool(check.discrepancies) == bool(said)


def test_a_log_opens_once(tmp_path: Path, finished: tuple[bytes, Check]) -> None:
    lines = finished[0].splitlines()
    check = check_of(tmp_path, sealed_again([lines[0], *lines]))
    assert "line 2: the opening record is expected first, and only there" in check.discrepancies


@untimed
@given(st.binary(max_size=300))
def test_any_other_file_is_refused_in_words(tmp_path: Path, content: bytes) -> None:
    check = check_of(tmp_path, content)
    assert check.state == "refused"
    assert check.discrepancies


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"RIFF\x00\x00\x00\x00WAVE", "this is no log of a listening session"),
        (b'{"record":' + b"[" * 100_000 + b"\n", "line 1: this is not JSON"),
        (b"", "no opening record"),
    ],
)
def test_what_is_no_log_is_called_that(tmp_path: Path, content: bytes, said: str) -> None:
    assert said in check_of(tmp_path, content).discrepancies


def test_what_a_forger_writes_is_told_in_bounds(
    tmp_path: Path, finished: tuple[bytes, Check]
) -> None:
    """No fault longer than a few lines, and nothing in place of a fingerprint that a terminal obeys."""
    lines = finished[0].splitlines()
    lines[1] = lines[1].replace(b"answer", b"x" * 10_000, 1)
    assert max(map(len, check_of(tmp_path, sealed_again(lines)).discrepancies)) < 600
    seal = finished[1].fingerprint.encode()
    assert check_of(tmp_path, finished[0].replace(seal, b"\x1b[2J")).fingerprint == ""


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


def test_only_sessions_on_the_same_choices_are_pooled(tmp_path: Path) -> None:
    first, second = plan().choices
    pairs = [(first, second), (first, replace(second, gain_db=-0.5)), (second, first)]
    for name, pair in zip("abc", pairs, strict=True):
        run(tmp_path / name, replace(plan(trials=2), choices=pair), scripted(1))
    assert [pool.sessions for pool in summarise(tmp_path / name for name in "abc").pools] == [1] * 3


def test_a_session_alone_is_not_taken_together(tmp_path: Path) -> None:
    run(tmp_path / "a", plan(trials=2), scripted(1))
    (pool,) = summarise([tmp_path / "a"]).pools
    assert (pool.sessions, pool.sentences) == (1, ())


def test_a_listener_is_counted_once(tmp_path: Path) -> None:
    for name in "ab":
        run(tmp_path / name, plan(trials=2), scripted(1))
    (pool,) = summarise(tmp_path / name for name in "ab").pools
    assert pool.listeners == ("listener 1",)
    assert "2 sessions by 1 listener (listener 1): triangle" in pool.sentences[0]


def test_the_protocol_is_told_in_words(tmp_path: Path) -> None:
    run(tmp_path / "a", replace(plan(trials=2), protocol="matched-to-sample"), scripted(1))
    assert "listener 1, matched to sample, " in verify(tmp_path / "a").sentences[0]


def test_files_that_are_no_logs_are_no_copies_and_no_sessions_broken_off(tmp_path: Path) -> None:
    for name in "ab":
        (tmp_path / name).write_text(name)
    summary = summarise(tmp_path / name for name in "ab")
    assert [check.discrepancies for check in summary.checks] == [
        ("this is no log of a listening session",)
    ] * 2
    assert len(summary.sentences) == 2


def test_as_many_trials_are_pooled_as_can_be_summed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in "ab":
        run(tmp_path / name, plan(trials=2), scripted(1))
    paths = [tmp_path / name for name in "ab"]
    monkeypatch.setattr(checking, "MOST_TRIALS", 4)
    assert summarise(paths).pools[0].result.trials == 4
    monkeypatch.setattr(checking, "MOST_TRIALS", 3)
    with pytest.raises(TrialError, match="up to 3 can be pooled, not 4"):
        summarise(paths)


def test_that_a_session_was_resumed_is_told_in_a_sentence(tmp_path: Path) -> None:
    Session.start(plan(trials=1), tmp_path / "a").close_log()
    Session.resume(tmp_path / "a").answer(0)
    assert verify(tmp_path / "a").sentences[-1].startswith("Cut off and resumed at 2")


def test_presentations_and_answers_are_worded_for_every_protocol() -> None:
    for protocol in PROTOCOLS:
        assert len(PRESENTATIONS[protocol]) == 3
        assert len(ANSWERS[protocol]) == 1 / GUESSING[protocol]


def test_importing_the_bench_loads_no_screen_sound_or_scipy() -> None:
    script = (
        "import sys, auralize.trials.session; "
        "print([m for m in ('scipy', 'textual', 'sounddevice', 'numpy') if m in sys.modules])"
    )
    output = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    ).stdout
    assert output.strip() == "[]"
