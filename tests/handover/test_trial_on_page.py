"""Blind trials of a page, in a browser: what they log, what they hold back, what they tell."""

import json
import math
import random
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from scipy import stats

from auralize.trials.log import encode
from auralize.trials.plan import ANSWERS, PRESENTATIONS, Compared, Plan
from auralize.trials.preparing import EQUALLY_LOUD
from auralize.trials.statistics import GUESSING, Protocol, evaluate, findings, percent, power
from support.browsers import Chromium
from support.forged import sealed_again
from support.pages import script_page
from support.trial_page import DATA, PROTOCOLS, RECEIVING, STAND_IN, WORDS, checked


@pytest.fixture(scope="module")
def page(chromium: Chromium, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chromium]:
    folder = tmp_path_factory.mktemp("trial")
    opened = chromium.open(script_page(folder, ["numbers.js", "trial.js"], STAND_IN))
    yield opened
    assert opened.console == []


def wish(protocol: Protocol, trials: int = 12, **more: Any) -> dict[str, Any]:
    asked = {"protocol": protocol, "trials": trials, "listener": "listener 1", "pair": RECEIVING}
    return asked | more


def held(page: Chromium, asked: dict[str, Any], answers: str = "sure(plays, protocol)") -> Any:
    """A whole session; answers in JavaScript, from `plays`, the number of the `trial` and `protocol`."""
    return page.run(
        f"return run(args[0], args[1], args[2], (plays, trial, protocol) => {answers});",
        DATA,
        WORDS,
        asked,
    )


# ---- the log


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_a_session_is_held_and_its_log_accepted(
    page: Chromium, tmp_path: Path, protocol: Protocol
) -> None:
    """Right in two of three trials, the third answered blindly: the page says what the log proves."""
    asked = wish(protocol, 15, listener="  Zoë, 聞き手 ")
    session = held(page, asked, "trial % 3 ? sure(plays, protocol) : trial % 2")
    check = checked(tmp_path, session["log"])
    assert check.discrepancies == ()
    assert check.state == "complete"
    assert check.outcome is not None
    assert check.plan == Plan(
        protocol=protocol,
        trials=15,
        choices=(
            Compared("receiving end of reel", 0.0, "pond 62 m of 2.5 mm² \\ twin", "0" * 64),
            Compared("receiving end of beams", -0.42, "pond 62 m\ufffd of 4 mm2\ufffd", "1" * 64),
        ),
        match=EQUALLY_LOUD,
        programme='Glöckchen \U0001f514 "no. 1".wav, 20.0 s from 12.5 s',
        programme_sha256="5a" * 32,
        listener="Zoë, 聞き手",
        difference="0.23 dB more",
    )
    here, there = session["outcome"], check.outcome
    assert (here["seed"], here["right"], here["answers"]) == (
        there.seed,
        list(there.right),
        list(there.answers),
    )
    assert there.correct == here["result"]["correct"] >= 10
    assert session["shown"] == check.commitment
    assert session["fingerprint"] == check.fingerprint
    assert session["told"] == list(findings(there.result))
    chance = stats.binomtest(
        there.correct, 15, float(GUESSING[protocol]), alternative="greater"
    ).pvalue
    assert here["result"]["probability"] == pytest.approx(chance, rel=1e-9)
    assert session["thawed"]
    assert any("page" in sentence for sentence in check.sentences)


def test_every_line_is_as_the_bench_would_write_it(page: Chromium) -> None:
    for line in held(page, wish("triangle", 3))["log"].splitlines():
        record = json.loads(line)
        seal = record.pop("seal")
        assert line == f'{encode(record).decode()},"seal":"{seal}"}}'


def test_numbers_and_text_are_encoded_as_python_does(page: Chromium) -> None:
    rng = random.Random(4120)
    floats = [struct.unpack("<d", rng.randbytes(8))[0] for _ in range(300)]
    floats = [value for value in floats if math.isfinite(value)]
    floats += [
        0.0,
        -0.0,
        1.0,
        -1.0,
        100.0,
        1e15,
        1e16,
        1e17,
        123456789012345680.0,
        1e-4,
        1e-5,
        1.5e-5,
        -1.25e-7,
    ]
    floats += [rng.uniform(-60, 60) for _ in range(200)]
    records = [{"gain_db": value, "trial": n} for n, value in enumerate(floats)]
    records += [
        {"name": "".join(map(chr, range(0x2FF)))},
        {"name": "\u2028 \ufffd 🔔 \U0010ffff", "row": None},
    ]
    found = page.run("return args[0].map((record) => Trial.encode(record));", records)
    assert found == [encode(record).decode() + "}" for record in records]


def test_any_change_is_found(page: Chromium, tmp_path: Path) -> None:
    lines = held(page, wish("triangle", 4))["log"].encode().splitlines(keepends=True)
    assert checked(tmp_path, b"".join(lines)).outcome is not None
    for number, line in enumerate(lines):
        for edited in (*edits(line), b""):
            changed = b"".join([*lines[:number], edited, *lines[number + 1 :]])
            assert checked(tmp_path, changed).outcome is None, edited
        other = (number + 1) % len(lines)
        swapped = list(lines)
        swapped[number], swapped[other] = swapped[other], swapped[number]
        assert checked(tmp_path, b"".join(swapped)).outcome is None


def edits(line: bytes) -> Iterator[bytes]:
    """The line with one of its fields changed, each in turn."""
    record = json.loads(line)
    for key, value in record.items():
        yield encode(record | {key: other(value)}) + b"}\n"
    for place in range(len(record.get("choices", []))):
        for key, value in record["choices"][place].items():
            edited = json.loads(line)
            edited["choices"][place][key] = other(value)
            yield encode(edited) + b"}\n"


def other(value: Any) -> Any:
    if isinstance(value, str):
        return ("1" if value[:1] == "0" else "0") + value[1:]
    return value + 1 if isinstance(value, int | float) else "x"


def test_what_was_sealed_again_contradicts_the_commitment(page: Chromium, tmp_path: Path) -> None:
    """A forger's work, by the recipe at the head of trials/log.py: facts, seed and score are bound."""
    lines = held(page, wish("matched-to-sample", 4))["log"].encode().splitlines(keepends=True)
    assert checked(tmp_path, sealed_again(lines)).outcome is not None
    first, last = json.loads(lines[0]), json.loads(lines[-1])
    kept = ("record", "commitment", "seal")
    forged = [
        [encode(first | {key: other(value)}) + b"}\n", *lines[1:]]
        for key, value in first.items()
        if key not in kept
    ]
    for key in ("seed", "correct"):
        forged.append([*lines[:-1], encode(last | {key: other(last[key])}) + b"}\n"])
    answer = json.loads(lines[1])
    forged.append(
        [lines[0], encode(answer | {"answer": 1 - answer["answer"]}) + b"}\n", *lines[2:]]
    )
    for edited in forged:
        assert checked(tmp_path, sealed_again(edited)).state == "refused"


def test_a_place_of_another_name_is_refused(page: Chromium, tmp_path: Path) -> None:
    """Nobody may call the bench what was no bench, nor the other way round: the commitment binds it."""
    log = held(page, wish("triangle", 2))["log"]
    for said in ('"held":"bench",', ""):
        assert checked(tmp_path, log.replace('"held":"page",', said)).state == "refused"


def test_a_session_that_is_given_up_says_so(page: Chromium, tmp_path: Path) -> None:
    log, outcome = page.run(
        """const sound = new StandIn(), trial = new Trial(sound, args[0], args[2], args[1]);
        heardOf(trial, sound);
        trial.answer(0);
        trial.giveUp();
        return [trial.log, trial.outcome];""",
        DATA,
        WORDS,
        wish("triangle", 5),
    )
    check = checked(tmp_path, log)
    assert (check.state, check.answered, check.discrepancies) == ("given up", 1, ())
    assert outcome is None


# ---- what is held back, and what is asked for


def test_before_the_end_nothing_tells_the_order(page: Chromium) -> None:
    """Neither what the session shows of itself nor its log."""
    seen, log, outcome, seed = page.run(
        """const sound = new StandIn(), trial = new Trial(sound, args[0], args[2], args[1]);
        heardOf(trial, sound);
        trial.answer(0);
        const shown = ["answered", "over", "complete", "heard", "missing", "outcome", "plan"];
        const seen = Object.entries(trial).concat(shown.map((name) => [name, trial[name]]));
        const { log, outcome } = trial;
        trial.giveUp();
        const closing = JSON.parse(trial.log.trim().split("\\n").at(-1));
        return [JSON.stringify(seen), log, outcome, closing.seed];""",
        DATA,
        WORDS,
        wish("triangle", 5),
    )
    assert outcome is None
    assert len(seed) == 64
    for told in (seen, log):
        assert seed not in told
        assert "seed" not in told
        assert "right" not in told


def test_seeds_are_drawn_anew(page: Chromium) -> None:
    seeds = {held(page, wish("triangle", 1))["outcome"]["seed"] for _ in range(5)}
    assert len(seeds) == 5


def test_no_answer_is_taken_before_all_was_listened_to(page: Chromium) -> None:
    """0.2 s of its own sound, and what the device holds back (0.1 s here); no fade and no pause."""
    told = page.run(
        """const told = [], sound = new StandIn();
        const trial = new Trial(sound, args[0], args[2], args[1]);
        const look = (seconds) => {
            trial.look(); sound.pass(seconds); trial.look(); told.push(trial.missing);
        };
        const tryIt = () => {
            try { trial.answer(0); told.push("taken"); } catch (error) { told.push(error.message); }
        };
        tryIt();
        trial.present(0); look(0.29); look(0.02);
        trial.present(1); look(0.2); trial.present(1); look(0.2);
        sound.settled = false; look(1); sound.settled = true;
        sound.position += 5; look(0);
        trial.pause(); look(5);
        trial.present(1); look(0.31);
        tryIt();
        trial.present(2); look(0.31);
        tryIt();
        return [told, trial.answered, trial.missing, sound.playing];""",
        DATA,
        WORDS,
        wish("triangle", 5),
    )
    first, rest = WORDS["listen_first"], [1, 2]
    assert told == [
        [
            first.replace("{which}", "1, 2, 3"),
            [0, 1, 2], rest,
            rest, rest,
            rest,
            rest,
            rest,
            [2],
            first.replace("{which}", "3"),
            [],
            "taken",
        ],
        1,
        [0, 1, 2],
        False,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ({"trials": 0}, "trials_wrong"),
        ({"trials": 10_001}, "trials_wrong"),
        ({"trials": 2.5}, "trials_wrong"),
        ({"trials": None}, "trials_wrong"),
        ({"listener": "  "}, "listener_missing"),
        ({"listener": "a\tb"}, "listener_wrong"),
        ({"listener": "x" * 501}, "listener_wrong"),
        ({"pair": RECEIVING[:1] * 2}, "same"),
    ],
)
def test_a_wrong_wish_is_refused_before_anything_is_begun(
    page: Chromium, more: dict[str, Any], key: str
) -> None:
    said, frozen = page.run(
        """const sound = new StandIn();
        try {
            new Trial(sound, args[0], args[2], args[1]);
        } catch (error) { return [error.message, sound.frozen]; }""",
        DATA,
        WORDS,
        wish("triangle", **more),
    )
    assert said == WORDS[key].replace("{most}", "500" if "listener" in more else "10000")
    assert frozen is None


def test_nothing_is_begun_before_levels_are_measured_nor_gone_on_with_on_another_programme(
    page: Chromium,
) -> None:
    told = page.run(
        """const told = [], sound = Object.assign(new StandIn(), { certain: false });
        const tryIt = (act) => {
            try { act(); told.push(null); } catch (error) { told.push(error.message); }
        };
        tryIt(() => new Trial(sound, args[0], args[2], args[1]));
        sound.certain = true;
        const trial = new Trial(sound, args[0], args[2], args[1]);
        Object.assign(sound, { inside: false, name: "own.wav", sha256: "ab" });
        tryIt(() => trial.present(0));
        tryIt(() => trial.giveUp());
        return told;""",
        DATA,
        WORDS,
        wish("triangle"),
    )
    assert told == [WORDS["uncertain"], WORDS["changed"], None]


def test_music_of_ones_own_is_known_by_its_name_and_its_bytes(
    page: Chromium, tmp_path: Path
) -> None:
    session = page.run(
        """const own = { inside: false, name: "mine\\u00a0♫.flac", sha256: "ab".repeat(32) };
        const sound = Object.assign(new StandIn(), own);
        return run(args[0], args[1], args[2], () => 0, sound);""",
        DATA,
        WORDS,
        wish("triangle", 2),
    )
    check = checked(tmp_path, session["log"])
    assert check.plan is not None
    assert (check.plan.programme, check.plan.programme_sha256) == ("mine\ufffd♫.flac", "ab" * 32)
    assert check.outcome is not None


def test_the_rig_is_compared_as_it_is_whatever_the_slider_says(page: Chromium) -> None:
    stepped = page.run(
        """const sound = Object.assign(new StandIn(), { steps: 3 });
        run(args[0], args[1], args[2], () => 0, sound);
        return sound.stepped;""",
        DATA,
        WORDS,
        wish("triangle", 1),
    )
    assert stepped == [None, 3]


@pytest.mark.parametrize(
    ("pair", "names"),
    [
        (
            [{"choice": None, "signal": "source", "across": "both"}, RECEIVING[0]],
            ["source", "receiving end of reel"],
        ),
        (
            [{"choice": choice, "signal": "drop", "across": "plus"} for choice in (1, 0)],
            ["drop over plus of beams", "drop over plus of reel"],
        ),
    ],
)
def test_names_in_the_log_are_those_of_the_bench(
    page: Chromium, tmp_path: Path, pair: list[Any], names: list[str]
) -> None:
    check = checked(tmp_path, held(page, wish("triangle", 1, pair=pair))["log"])
    assert check.plan is not None
    assert [choice.name for choice in check.plan.choices] == names
    assert check.plan.difference == ""  # nothing was worked out for these
    assert check.outcome is not None


# ---- what is told


def test_what_is_told_is_what_the_bench_tells(page: Chromium) -> None:
    """Word for word, for every score of 1 to 8 trials and some of more."""
    trials = [*range(1, 9), 16, 20, 40, 1_000]
    scores = [
        (k, n, protocol)
        for n in trials
        for k in range(0, n + 1, 1 + n // 50)
        for protocol in PROTOCOLS
    ]
    found = page.run(
        "return args[0].map((score) => Trial.findings(Numbers.evaluate(...score), args[1]));",
        scores,
        WORDS["findings"],
    )
    for score, here in zip(scores, found, strict=True):
        assert here == list(findings(evaluate(*score)))


def test_shares_are_rounded_as_python_rounds(page: Chromium) -> None:
    rng = random.Random(1)
    shares = (
        [k / 1_000 for k in range(1_001)]
        + [k / 1_024 for k in range(1_025)]
        + [rng.random() ** 9 for _ in range(500)]
    )
    found = page.run(
        "return args[0].map((share) => [2, 3].map((digits) => Trial.percent(args[1], share, digits)));",
        shares,
        WORDS["findings"],
    )
    assert found == [[percent(share, 2), percent(share, 3)] for share in shares]


def test_sixteen_trials_are_as_many_as_the_page_says() -> None:
    for protocol in PROTOCOLS:
        assert power(16, 0.5, protocol) > 0.5


def test_presentations_and_answers_are_those_of_the_bench() -> None:
    for protocol in PROTOCOLS:
        assert WORDS[protocol]["answers"] == list(ANSWERS[protocol])
        shown = [words.split(": ")[-1] for words in WORDS[protocol]["presentations"]]
        assert shown == list(PRESENTATIONS[protocol])
