"""Blindness of the screens: a listener that is given everything but the sound scores at chance.

It reads the screen, the times that every listen and answer took, and what the process printed, and
it is told the truth after every trial so that it can learn. The engine is the live one, without a
device. Another listener hears levels only: it scores when levels are as installed, not when matched.
"""

import asyncio
import math
import time
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from auralize_tui.trials import TrialScreen
from textual.app import App
from textual.widgets import Static

from auralize.audio.loudness import LoudnessMeter
from auralize.gains import INSTALLED, LOUDNESS, End
from auralize.live.blocks import block_frames
from auralize.live.engine import Engine
from auralize.live.listening import Listening
from auralize.live.sources import FileFeed
from auralize.live.wanted import Wanted
from auralize.rig.reading import load_rig
from auralize.trials.plan import Compared, Plan
from auralize.trials.session import Session
from auralize.trials.sitting import Sitting

DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
TRIALS = 2_000
PAIR = [End("receiving", "reel"), End("receiving", "bought")]


@pytest.fixture
def programme(tmp_path):
    random = np.random.default_rng(5)
    path = tmp_path / "hiss.wav"
    sf.write(path, random.normal(0, 0.1, (24_000, 2)), 48_000, "PCM_24")
    return path


def plan(protocol, trials):
    pair = tuple(
        Compared(f"receiving end of {name}", 0.0, "62 m", "0" * 64) for name in ("reel", "bought")
    )
    return Plan(protocol, trials, pair, "matched in loudness", "hiss.wav", "0" * 64, "ferryman")


class Learner:
    """Guesses what went most often with what it sees; a guess by lot where it has seen nothing."""

    def __init__(self, answers):
        self._answers = answers
        self._seen = defaultdict(Counter)
        self._random = np.random.default_rng(17)

    def guess(self, clues):
        votes = Counter()
        for clue in clues:
            votes.update(self._seen[clue])
        if not votes:
            return int(self._random.integers(self._answers))
        return votes.most_common(1)[0][0]

    def learn(self, clues, truth):
        for clue in clues:
            self._seen[clue][truth] += 1


def clues_of(texts, times, printed):
    """Each screen as it is, the order of the times, each time in steps, and what was printed."""
    order = tuple(np.argsort(times))
    steps = tuple(round(8 * math.log2(max(t, 1e-7))) for t in times)
    return [
        ("text", *texts),
        ("order", *order),
        *(("step", i, s) for i, s in enumerate(steps)),
        printed,
    ]


@pytest.mark.parametrize("protocol", ["matched-to-sample", "triangle"])
def test_a_listener_without_ears_scores_at_chance(tmp_path, programme, capfd, protocol):
    engine = Engine(programme, load_rig(DEMO).pick(["reel", "bought"]))
    engine.load_slots(PAIR)
    session = Session.start(plan(protocol, TRIALS), tmp_path / "log.jsonl")
    answers = 2 if protocol == "matched-to-sample" else 3
    learner, right = Learner(answers), 0

    async def run():
        nonlocal right
        app = App()
        async with app.run_test(size=(80, 24)):
            screen = TrialScreen(Sitting(session, engine.hear_slot), engine)
            await app.push_screen(screen)
            words = screen.query_one("#trial-text", Static)
            for number in range(TRIALS):
                truth = session._hidden.arrangements[number].right
                texts, times = [], []
                for number_heard in range(3):
                    start = time.perf_counter()
                    screen.action_listen(number_heard)
                    times.append(time.perf_counter() - start)
                    status = engine.status()
                    texts += [str(words.render()), repr(status.heard), repr(status.gains)]
                texts = [t.replace(f"Trial {number + 1} of", "Trial N of") for t in texts]
                clues = clues_of(texts, times, capfd.readouterr())
                guess = learner.guess(clues)
                learner.learn(clues, truth)
                right += guess == truth
                for _ in range(guess + 1):
                    screen.action_pick(1)
                screen.action_confirm()

    asyncio.run(run())
    engine.stop()
    chance = 1 / answers
    spread = math.sqrt(TRIALS * chance * (1 - chance))
    assert session.finished
    assert session.outcome.correct == right
    assert abs(right - TRIALS * chance) < 4 * spread


JUST_NOTICEABLE = 0.1
"""LU that the listener by level can tell apart: less than a person can (common practice, no source)."""


def loudness_of(listening, slot):
    """What a listener by level makes of a presentation, over and over in a loop."""
    meter = LoudnessMeter(listening.rate, 2)
    out = np.zeros((block_frames(listening.rate), 2), dtype=np.float32)
    listening.hear_slot(slot)
    time.sleep(0.2)  # a switch reaches the player from a thread of its own
    deadline, number = time.monotonic() + 30, 0
    while number < 250:  # blocks with sound in them, the first ones of the fade left out
        assert time.monotonic() < deadline
        if not listening.transport.primed:
            time.sleep(0.0005)
            continue
        listening.render(out)
        if not out.any():
            time.sleep(0.0005)  # the reader has not come round yet
            continue
        number += 1
        if number > 100:
            meter.add(out.astype(np.float64))
    return meter.integrated


@pytest.mark.parametrize(("match", "hears"), [(INSTALLED, True), (LOUDNESS, False)])
def test_a_listener_by_level_scores_only_where_levels_are_not_matched(programme, match, hears):
    choices = {c.name: c for c in load_rig(DEMO).pick(["reel", "beams"])}
    told = []
    listening = Listening(
        FileFeed(programme), 48_000, Wanted(choices, volume=-6.0, match=match), told.append
    )
    deadline = time.monotonic() + 60
    while listening.status().certainty != "measured":
        assert time.monotonic() < deadline
        time.sleep(0.01)
    listening.load_slots([End("receiving", name) for name in choices])
    listening.transport.loop(0, 23_000)
    listening.transport.play()
    loudness = [loudness_of(listening, slot) for slot in (0, 1)]
    listening.close()
    assert told == []
    assert (abs(loudness[0] - loudness[1]) > JUST_NOTICEABLE) == hears
    assert all(math.isfinite(level) for level in loudness)


@pytest.fixture
def measured_listening(programme):
    """Two choices that differ a lot, their drops too, with all levels measured."""
    choices = {c.name: c for c in load_rig(DEMO).pick(["reel", "beams"])}
    told = []
    listening = Listening(
        FileFeed(programme), 48_000, Wanted(choices, volume=-6.0, match=LOUDNESS), told.append
    )
    deadline = time.monotonic() + 60
    while listening.status().certainty != "measured":
        assert time.monotonic() < deadline
        time.sleep(0.01)
    listening.transport.loop(0, 23_000)
    listening.transport.play()
    yield listening
    listening.close()
    assert told == []


DROPS = [End("drop", "reel"), End("drop", "beams")]


@pytest.mark.parametrize(
    ("pair", "equal", "hears"),
    [
        (DROPS, False, True),
        (DROPS, True, False),
        ([End("receiving", "reel"), End("drop", "beams")], True, False),
    ],
)
def test_a_listener_by_level_hears_drops_apart_only_where_they_are_not_made_equally_loud(
    measured_listening, pair, equal, hears
):
    measured_listening.load_slots(pair, equal=equal)
    loudness = [loudness_of(measured_listening, slot) for slot in (0, 1)]
    assert (abs(loudness[0] - loudness[1]) > JUST_NOTICEABLE) == hears


def test_made_equally_loud_the_softest_stays_as_it_is_and_the_others_are_turned_down(
    measured_listening,
):
    plain = measured_listening.load_slots(DROPS)
    equal = measured_listening.load_slots(DROPS, equal=True)
    turned = [after - before for after, before in zip(equal, plain, strict=True)]
    assert max(turned) == 0.0
    assert min(turned) < -JUST_NOTICEABLE
