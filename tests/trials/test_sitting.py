"""A listener's way through trials, and what is prepared before the first."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from auralize.circuit.signals import SIGNAL_WORDS
from auralize.errors import AuralizeError
from auralize.figures.against import difference
from auralize.figures.against_text import matched_words
from auralize.gains import LOUDNESS, End
from auralize.live.sources import FileFeed
from auralize.rig.reading import load_rig
from auralize.trials.plan import TrialError
from auralize.trials.preparing import Preparation, Wish
from auralize.trials.session import Practice, Session
from auralize.trials.sitting import Sitting
from support.live_session import RIG
from support.sessions import plan


class Sounder:
    """Says that what it was asked for has been heard for ``seconds``."""

    def __init__(self):
        self.asked, self.seconds = [], 1.0

    def sound(self, slot):
        self.asked.append(slot)

    def heard(self):
        return self.seconds


@pytest.fixture
def sounder():
    return Sounder()


@pytest.fixture
def sitting(tmp_path, sounder):
    session = Session.start(plan("triangle", trials=2), tmp_path / "trial.jsonl")
    yield Sitting(session, sounder.sound, sounder.heard)
    session.close_log()


def test_an_answer_needs_all_three_to_be_listened_to_in_each_trial(sitting, sounder):
    for trial in (0, 1):
        assert sitting.missing == [0, 1, 2]
        sitting.listen(1)
        assert (sitting.heard, sitting.missing) == (1, [0, 2])
        with pytest.raises(
            TrialError, match=r"^listen to 1, 3 first, each for a moment while it plays$"
        ):
            sitting.answer(0)
        assert sitting.answered == trial
        sitting.listen(0)
        sitting.pause()
        assert (sitting.heard, sitting.missing) == (None, [2])
        sitting.listen(2)
        sitting.answer(0)
        assert (sitting.heard, sitting.told) == (None, None)
    assert sitting.over
    assert sitting.answered == 2
    assert len(sounder.asked) == 6


def test_what_was_not_heard_must_be_listened_to_again(sitting):
    for number in range(3):
        sitting.listen(number)
    sitting.forget()
    assert (sitting.heard, sitting.missing) == (None, [0, 1, 2])


def test_what_was_asked_for_and_left_before_it_sounded_does_not_count(sitting, sounder):
    """As after the end of the programme, in the fade, or with three keys at once."""
    sounder.seconds = 0.0
    for number in range(3):
        sitting.listen(number)
    sitting.pause()
    assert sitting.missing == [0, 1, 2]
    sitting.listen(1)
    sounder.seconds = 0.19
    assert sitting.missing == [0, 1, 2]
    sounder.seconds = 0.2
    assert sitting.missing == [0, 2]
    sitting.listen(0)
    sounder.seconds = 0.0  # of what is asked for now; what counted stays
    assert (sitting.heard, sitting.missing) == (0, [0, 2])


def test_a_session_given_up_is_over_and_practice_never(sitting):
    assert not sitting.over
    sitting.give_up()
    assert sitting.over
    practice = Sitting(Practice("triangle"), lambda slot: None, lambda: 1.0)
    practice.give_up()
    practice.leave()
    assert not practice.over
    assert practice.session is None
    for number in range(3):
        practice.listen(number)
    practice.answer(0)
    assert practice.told is not None
    assert (practice.answered, practice.missing) == (1, [0, 1, 2])


LEVELS = [LOUDNESS, "one", None]
"""What is asked for before every trial: match, way of drops, make-up gain."""


class _Player:
    """Two slots, as something plays them that is not the engine."""

    def __init__(self):
        self.calls = []
        self.levels = SimpleNamespace(editing=False, certainty="measured")

    def status(self):
        return self.levels

    def set_drops(self, way):
        self.calls.append(way)

    def set_makeup(self, makeup):
        self.calls.append(makeup)

    def set_match(self, match):
        self.calls.append(match)

    def load_slots(self, heard, *, equal=False):
        self.calls.append((tuple(heard), equal))
        return [0.0, -0.5]

    def hear_slot(self, number):
        self.calls.append(number)

    def play(self):
        self.calls.append("play")

    def slot_heard(self):
        return 0.25


@pytest.fixture
def prepared(tmp_path):
    programme = tmp_path / "bells.wav"
    programme.write_bytes(b"the tide mill")
    return Preparation(load_rig(RIG), FileFeed(programme), tmp_path / "logs" / "here", _Player())


WISH = Wish("triangle", "drop", ("reel", "bought"), "4", " lamplighter ")


def test_a_session_is_planned_as_it_was_wished(prepared):
    session = prepared.begin(WISH)
    session.close_log()
    pair = (End("drop", "reel"), End("drop", "bought"))
    assert prepared.player.calls == [*LEVELS, (pair, True)]
    found = session.plan
    assert (found.protocol, found.trials, found.listener) == ("triangle", 4, "lamplighter")
    assert (found.match, found.programme) == ("made equally loud", "bells.wav")
    names = [f"{SIGNAL_WORDS['drop']} of {name}" for name in ("reel", "bought")]
    assert [choice.name for choice in found.choices] == names
    assert [choice.gain_db for choice in found.choices] == [0.0, -0.5]
    reel, bought = (prepared.rig.choices[name] for name in WISH.choices)
    assert found.difference == matched_words(difference(bought, reel, "drop"))
    assert session.log_path.parent == prepared.folder
    assert session.log_path.name.startswith("trial-2")
    assert session.log_path.suffix == ".jsonl"
    check = prepared.cut_off()
    assert check.path == session.log_path
    again = prepared.resume(check)
    assert (again.plan, again.commitment) == (session.plan, session.commitment)
    again.close_log()


@pytest.mark.parametrize("change", ["the programme", "the gains"])
def test_the_next_of_a_row_is_refused_where_what_is_heard_is_another(prepared, tmp_path, change):
    first = prepared.begin(replace(WISH, listeners="2"))
    first.close_log()
    if change == "the gains":
        prepared.player.load_slots = lambda heard, *, equal=False: [0.0, -1.5]
    else:
        (tmp_path / "bells.wav").write_bytes(b"another tide")
        prepared = replace(prepared, programme=FileFeed(tmp_path / "bells.wav"))
    with pytest.raises(TrialError):
        prepared.follow(first.plan, "ferryman")
    assert list(prepared.folder.glob("*.jsonl")) == [first.log_path]


def test_practice_loads_the_pair_and_writes_nothing(prepared):
    assert prepared.practise(WISH).protocol == "triangle"
    assert prepared.player.calls[3] == ((End("drop", "reel"), End("drop", "bought")), True)
    assert not prepared.folder.exists()
    prepared.sound(1)
    assert prepared.player.calls[4:] == [1, "play"]
    assert prepared.heard() == 0.25


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"choices": ("reel", "reel")}, "both choices are the same; pick two"),
        ({"listener": "  "}, "who listens? type a name or a pseudonym"),
        ({"trials": ""}, "trials: from 1 to"),
        ({"trials": "-4"}, "trials: from 1 to"),
        ({"trials": "4.0"}, "trials: from 1 to"),
        ({"trials": "²"}, "trials: from 1 to"),
    ],
)
def test_what_cannot_be_held_is_refused_and_nothing_is_begun(prepared, change, sentence):
    wish = Wish(**{**vars(WISH), **change})
    with pytest.raises(AuralizeError) as caught:
        prepared.begin(wish)
    assert str(caught.value).startswith(sentence)
    assert not prepared.folder.exists()


@pytest.mark.parametrize("levels", [{"editing": True}, {"certainty": "predicted"}])
def test_nothing_is_loaded_while_levels_are_not_known(prepared, levels):
    vars(prepared.player.levels).update(levels)
    for start in (prepared.begin, prepared.practise):
        with pytest.raises(AuralizeError, match="still being"):
            start(WISH)
    assert prepared.player.calls == [*LEVELS, *LEVELS]
    assert not prepared.folder.exists()
