"""Listeners in a row on one machine: fixed in number, pooled at the end, and honest about who is missing."""

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binomtest

from auralize.figures.against import difference
from auralize.figures.against_text import matched_words
from auralize.rig.reading import load_rig
from auralize.trials.checking import summarise, verify
from auralize.trials.plan import MOST_LISTENERS, Row, TrialError
from auralize.trials.rows import logs_of, new_row, next_plan, told_of
from support.sessions import plan, run, sure_answer


def held(folder: Path, listeners: int, of: int, right: int = 3) -> Row:
    """A row of so many listeners of which the first ones sat: ``right`` of four are right."""
    row = new_row(of)
    assert row is not None
    one = replace(plan("matched-to-sample", 4, "listener 1"), row=row)
    for number in range(1, listeners + 1):
        if number > 1:
            one = next_plan(one, f"listener {number}", folder)
        run(folder / f"{number}.jsonl", one, lambda s: sure_answer(s) ^ (s.answered >= right))
    return row


def test_the_next_listener_is_asked_the_same_and_sits_one_place_on(tmp_path):
    row = held(tmp_path, 3, of=3)
    plans = list(logs_of(row, tmp_path).values())
    assert [one.row.place for one in plans] == [1, 2, 3]
    assert [one.row.over for one in plans] == [False, False, True]
    assert len({one.comparison for one in plans}) == 1
    assert len({one.row.name for one in plans}) == 1
    assert new_row(3) != new_row(3)
    assert new_row(1) is None


def test_the_pooled_result_is_the_binomial_tail_of_all(tmp_path):
    (pool,) = summarise(logs_of(held(tmp_path, 3, of=3), tmp_path)).pools
    assert (pool.result.correct, pool.result.trials, pool.missing) == (9, 12, 0)
    reference = binomtest(9, 12, 0.5, alternative="greater").pvalue
    assert math.isclose(pool.result.probability, reference, rel_tol=1e-12)
    assert pool.listeners == ("listener 1", "listener 2", "listener 3")
    assert "more listeners were to follow" not in " ".join(pool.sentences)


def test_what_is_told_of_a_row_names_each_and_all(tmp_path):
    told = told_of(held(tmp_path, 3, of=4), tmp_path)
    assert told[:3] == tuple(f"listener {n}: 3 of 4 right" for n in (1, 2, 3))
    together = summarise(sorted(tmp_path.glob("*.jsonl"))).pools[0]
    assert told[3:] == together.findings
    assert "1 more listener was to follow" in told[-1]


def test_one_of_a_row_is_told_as_well(tmp_path):
    told = told_of(held(tmp_path, 1, of=2, right=4), tmp_path)
    assert told[0] == "listener 1: 4 of 4 right"
    assert "Right answers: 100 %" in " ".join(told)
    assert "1 more listener was to follow" in told[-1]


def test_who_is_missing_is_told_by_the_command_too(tmp_path):
    held(tmp_path, 2, of=5)
    summary = summarise(sorted(tmp_path.glob("*.jsonl")))
    assert summary.pools[0].missing == 3
    assert any("3 more listeners were to follow in a row" in one for one in summary.sentences)


def test_who_sat_too_often_in_one_row_hides_nobody_who_is_missing_in_another(tmp_path):
    row = held(tmp_path, 2, of=2)
    again = replace(plan("matched-to-sample", 4, "ferryman"), row=replace(row, place=2))
    run(tmp_path / "3.jsonl", again, sure_answer)
    assert summarise(sorted(tmp_path.glob("*.jsonl"))).pools[0].missing == 0
    short = replace(plan("matched-to-sample", 4, "miller"), row=new_row(3))
    run(tmp_path / "4.jsonl", short, sure_answer)
    assert summarise(sorted(tmp_path.glob("*.jsonl"))).pools[0].missing == 2


def test_only_the_logs_of_the_row_count(tmp_path):
    held(tmp_path, 2, of=2)
    run(tmp_path / "alone.jsonl", plan("matched-to-sample", 4, "ferryman"), sure_answer)
    of_another = replace(plan("matched-to-sample", 4, "miller"), row=new_row(2))
    run(tmp_path / "another.jsonl", of_another, sure_answer)
    (tmp_path / "notes.jsonl").write_text("no log\n")
    for path in tmp_path.glob("[12].jsonl"):
        path.rename(path.with_name(f"trial-{path.name}"))
    row = verify(tmp_path / "trial-1.jsonl").plan.row
    assert [path.name for path in logs_of(row, tmp_path)] == ["trial-1.jsonl", "trial-2.jsonl"]


def test_nobody_has_two_turns(tmp_path):
    row = new_row(3)
    first = replace(plan(listener="ferryman"), row=row)
    run(tmp_path / "1.jsonl", first, sure_answer)
    with pytest.raises(TrialError, match="ferryman has had a turn in this row; type another name"):
        next_plan(first, "ferryman", tmp_path)


@pytest.mark.parametrize(
    ("name", "place", "listeners", "found"),
    [
        ("0" * 16, 1, 1, "from 1 (alone) to 1000 are expected"),
        ("0" * 16, 1, MOST_LISTENERS + 1, "not 1001"),
        ("0" * 16, 1, 2.0, "not 2.0"),
        ("0" * 16, 0, 2, "place in a row: from 1 to 2 is expected, not 0"),
        ("0" * 16, 3, 2, "not 3"),
        ("0" * 16, True, 2, "not True"),
        ("0" * 15, 1, 2, "16 hexadecimal digits"),
        (7, 1, 2, "16 hexadecimal digits"),
    ],
)
def test_no_row_that_cannot_be(name, place, listeners, found):
    with pytest.raises(TrialError, match=re.escape(found)):
        Row(name, place, listeners)


@pytest.mark.parametrize("change", [{"place": 2}, {"listeners": 9}, {"name": "f" * 16}])
def test_a_row_cannot_be_changed_in_a_log(tmp_path, change):
    held(tmp_path, 1, of=3)
    path = tmp_path / "1.jsonl"
    first, *rest = path.read_text().splitlines()
    record = json.loads(first)
    record["row"] |= change
    path.write_text("\n".join([json.dumps(record, separators=(",", ":")), *rest]) + "\n")
    assert verify(path).state == "refused"


@pytest.mark.parametrize(
    "row", ["x", [], {"name": "0" * 16}, 7, {"name": 1, "place": 1, "listeners": 2}]
)
def test_a_row_that_is_none_is_told_and_breaks_nothing(tmp_path, row):
    held(tmp_path, 1, of=3)
    path = tmp_path / "1.jsonl"
    first, *rest = path.read_text().splitlines()
    record = json.loads(first) | {"row": row}
    path.write_text("\n".join([json.dumps(record, separators=(",", ":")), *rest]) + "\n")
    assert verify(path).state == "refused"


def test_different_questions_are_told_apart(tmp_path):
    run(tmp_path / "a.jsonl", plan("matched-to-sample", 4), sure_answer)
    run(tmp_path / "b.jsonl", plan("triangle", 4), sure_answer)
    told = summarise([tmp_path / "a.jsonl", tmp_path / "b.jsonl"]).sentences
    assert told[-1].startswith("These logs ask 2 different questions")


def test_the_difference_in_words_is_that_of_the_responses():
    """Told with pink noise as weight: the largest step away from equal loudness, over frequency."""
    demo = load_rig(Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml")
    reel, bought = demo.choices["reel"], demo.choices["bought"]
    for signal, across in (("receiving", "both"), ("drop", "both"), ("drop", "plus")):
        one = difference(bought, reel, signal, across)
        frequency = np.geomspace(20.0, 20_000.0, 4001)
        shape = 20.0 * np.log10(
            np.abs(
                bought.response(frequency, signal, across)
                / reel.response(frequency, signal, across)
            )
        )
        inside = shape - one.level_db
        assert np.abs(inside).max() == pytest.approx(abs(one.largest_db), abs=0.02)
        told = matched_words(one)
        assert f"{abs(one.largest_db):.2f} dB" in told
        assert told.startswith("equally loud, bought gives at most")


def test_the_difference_stands_in_the_log_and_in_what_is_told(tmp_path):
    what = replace(plan("triangle", 4), difference="equally loud, they differ by 0.12 dB")
    run(tmp_path / "a.jsonl", what, sure_answer)
    check = verify(tmp_path / "a.jsonl")
    assert check.plan == what
    assert "Equally loud, they differ by 0.12 dB." in check.sentences
