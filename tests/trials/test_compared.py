"""What a session compares is found again, and a rig that would not sound as it did is refused."""

import hashlib
import json
import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from auralize.circuit.solution import ACROSS
from auralize.errors import AuralizeError
from auralize.gains import End
from auralize.live.sources import FileFeed
from auralize.outputs import sha256_of
from auralize.rig.reading import Rig, load_rig
from auralize.trials.checking import verify
from auralize.trials.compared import (
    COMPARED,
    SAME_GAIN_DB,
    built,
    check_programme,
    check_same,
    compared,
    pair_of,
)
from auralize.trials.plan import LONGEST_TEXT, Plan
from auralize.trials.session import Session

DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
PAIR = [End("receiving", "reel"), End("drop", "bought")]
GAINS = [0.0, -0.42]


def plan_of(rig: Rig, programme: Path) -> Plan:
    first, second = (compared(rig, heard, gain) for heard, gain in zip(PAIR, GAINS, strict=True))
    return Plan(
        "triangle",
        4,
        (first, second),
        "made equally loud",
        programme.name,
        sha256_of(programme),
        "ferryman",
    )


@pytest.fixture
def programme(tmp_path: Path) -> Path:
    path = tmp_path / "bells.wav"
    path.write_bytes(b"the tide mill")
    return path


@pytest.fixture
def plan(programme: Path) -> Plan:
    return plan_of(load_rig(DEMO), programme)


def changed(folder: Path, old: str, new: str) -> Rig:
    text = DEMO.read_text()
    assert text.count(old) == 1, old
    path = folder / "changed.toml"
    path.write_text(text.replace(old, new))
    return load_rig(path)


def test_a_choice_is_described_as_it_is_heard(plan: Plan) -> None:
    reel, bought = plan.choices
    assert (reel.name, reel.gain_db) == ("receiving end of reel", 0.0)
    assert (bought.name, bought.gain_db) == ("drop of bought", -0.42)
    assert reel.built.startswith("pond 62 m (203 ft) of 2.5 mm2")
    assert reel.built.endswith("at 20 degC")  # no lay is said of it
    assert bought.built.endswith(f", {load_rig(DEMO)['bought'].runs['pond'].lay.words}")
    assert reel.rig_sha256 != bought.rig_sha256


def test_the_fingerprint_is_of_what_the_file_says_of_a_choice(plan: Plan) -> None:
    """By another way: the file's tables, one laid on the other, without titles and labels."""

    def over(common: object, own: object) -> object:
        if not isinstance(common, dict) or not isinstance(own, dict):
            return own
        return common | {key: over(common.get(key), value) for key, value in own.items()}

    said = tomllib.loads(DEMO.read_text())
    choice = said.pop("choices")["bought"]
    whole = over(said, choice)
    assert isinstance(whole, dict)
    del whole["title"], whole["label"]
    digest = hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()
    assert plan.choices[1].rig_sha256 == digest


def test_a_session_is_gone_on_with_where_nothing_has_changed(
    plan: Plan, programme: Path, tmp_path: Path
) -> None:
    log = tmp_path / "log.jsonl"
    begun = Session.start(plan, log)
    begun.answer(0)
    begun.close_log()
    found = verify(log).plan
    assert found is not None
    rig = load_rig(DEMO)
    assert pair_of(found, rig) == PAIR
    check_programme(found, FileFeed(programme))
    check_same(found, rig, GAINS)
    check_same(found, changed(tmp_path, "Mill: the run", "Mill: a run"), GAINS)


def test_a_session_begun_on_another_loudspeaker_is_refused(plan: Plan, tmp_path: Path) -> None:
    """What the run is built of and all gains are the same: only the fingerprint of the rig tells."""
    log = tmp_path / "log.jsonl"
    begun = Session.start(plan, log)
    begun.answer(0)
    begun.close_log()
    found = verify(log).plan
    assert found is not None
    rig = changed(tmp_path, 'Re = "5.6 ohm"', 'Re = "5.7 ohm"')
    assert built(rig.choices["reel"]) == found.choices[0].built
    with pytest.raises(AuralizeError) as refused:
        check_same(found, rig, GAINS)
    assert str(refused.value) == (
        "the rig of receiving end of reel is not what it was; that session needs it as it was"
    )


def test_a_session_begun_on_another_run_is_refused(plan: Plan, tmp_path: Path) -> None:
    rig = changed(tmp_path, 'length = "62 m"', 'length = "63 m"')
    with pytest.raises(
        AuralizeError, match=r"receiving end of reel is now pond 63 m .* was pond 62"
    ):
        check_same(plan, rig, GAINS)


@pytest.mark.parametrize("number", [0, 1])
@pytest.mark.parametrize("step", [-1.0, 1.0])
def test_a_session_at_another_gain_is_refused(plan: Plan, number: int, step: float) -> None:
    rig = load_rig(DEMO)
    gains = list(GAINS)
    gains[number] = GAINS[number] + 0.9 * step * SAME_GAIN_DB
    check_same(plan, rig, gains)
    gains[number] = GAINS[number] + 1.1 * step * SAME_GAIN_DB
    with pytest.raises(AuralizeError, match="has changed since: its gain is"):
        check_same(plan, rig, gains)


def test_a_session_on_another_programme_is_refused(plan: Plan, programme: Path) -> None:
    programme.write_bytes(b"the tide mill, louder")
    with pytest.raises(AuralizeError, match=r"held on another programme: bells\.wav"):
        check_programme(plan, FileFeed(programme))
    programme.unlink()
    with pytest.raises(AuralizeError, match=r"bells\.wav cannot be read: no such file"):
        check_programme(plan, FileFeed(programme))


def test_a_session_on_a_rig_without_its_choice_is_refused(plan: Plan) -> None:
    rig = load_rig(DEMO)
    rig.choices.pop("bought")
    with pytest.raises(AuralizeError, match="another rig: it has drop of bought"):
        pair_of(plan, rig)


def test_a_load_at_the_amplifier_is_built_of_nothing(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(
        '[amplifier]\nresistance = "1 ohm"\n'
        '[loads.near]\nat = "amplifier"\ntype = "resistor"\nresistance = "8 ohm"\n'
    )
    assert [built(choice) for choice in load_rig(path).choices.values()] == ["no cable"]


def test_what_is_built_of_many_runs_still_fits_a_log() -> None:
    rig = load_rig(DEMO)
    reel = rig["reel"]
    wordy = replace(reel.runs["pond"], words="x" * 2 * LONGEST_TEXT)
    assert len(built(replace(reel, runs={"pond": wordy}))) == LONGEST_TEXT


def test_what_was_compared_is_found_again_conductor_by_conductor(programme: Path) -> None:
    rig = load_rig(DEMO)
    every = [End(signal, name, across) for signal, across in COMPARED for name in rig.choices]
    for pair in pairwise(every):
        first, second = (
            compared(rig, heard, gain) for heard, gain in zip(pair, GAINS, strict=True)
        )
        plan = replace(plan_of(rig, programme), choices=(first, second))
        assert pair_of(plan, rig) == list(pair)


def test_a_drop_of_an_earlier_log_is_over_both_conductors(plan: Plan) -> None:
    """Logs had no other drop, and said nothing of it."""
    before = replace(plan, choices=tuple(replace(c, name="drop of reel") for c in plan.choices))
    assert pair_of(before, load_rig(DEMO)) == [End("drop", "reel", "both")] * 2


def test_sessions_over_other_conductors_ask_another_question(plan: Plan) -> None:
    rig = load_rig(DEMO)
    asked = {
        replace(
            plan,
            choices=tuple(
                compared(rig, End("drop", name, across), 0.0) for name in ("reel", "bought")
            ),
        ).comparison
        for across in ACROSS
    }
    assert len(asked) == len(ACROSS)
