"""How loud drops are, on the screen: the keys for it, and words that claim no more than is known."""

import re
import sys
from dataclasses import replace

import pytest
import soundfile as sf
from auralize_tui.app import BenchApp
from auralize_tui.words import gain_words, level_words, step_words

from auralize.gains import INSTALLED, LOUDNESS, MOST_MAKEUP, SOURCE, End, Gains, Match
from auralize.live.engine import Engine
from auralize.rig.editing import RigDraft
from support.bench_app import DEMO, drive, text_of
from support.bench_engine import START
from support.evening import evening
from support.paced_device import PacedDevice

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
SMALL = (76, 21)
WIDTH = 72
"""Columns that are left of 76 within a border."""
LONGEST = End("drop", "bought", "minus")


def called(app, name):
    return [call[1] for call in app.engine.calls if call[0] == name]


def test_g_turns_between_the_two_ways(app):
    async def steps(pilot):
        await pilot.press("g", "g", "g")
        assert called(app, "drops") == ["equal", "one", "equal"]
        assert called(app, "makeup") == []

    drive(app, steps, SMALL)


def test_plus_and_minus_set_one_make_up_and_g_goes_back_to_the_chosen_one(app):
    app.engine.now(gains=Gains(1.0, 20.0, 0.0))

    async def steps(pilot):
        await pilot.press("d", "plus", "plus", "minus", "g")
        assert called(app, "makeup") == [21.0, 22.0, 21.0, None]
        assert called(app, "drops") == []
        await pilot.press("g")
        assert called(app, "drops") == ["equal"]

    drive(app, steps, SMALL)


def test_the_make_up_stays_within_its_bounds(app):
    async def steps(pilot):
        await pilot.press("d")
        app.engine.now(gains=Gains(0.0, MOST_MAKEUP, 0.0))
        await pilot.press("plus")
        app.engine.now(gains=Gains(0.0, 0.0, 0.0), makeup=None)
        await pilot.press("minus")
        assert called(app, "makeup") == [MOST_MAKEUP, 0.0]

    drive(app, steps, SMALL)


def test_where_plus_and_minus_do_nothing_they_say_why(app):
    async def steps(pilot):
        for keys, words in (
            (["r", "plus"], "+ and - are for the drop"),
            (["d", "g", "minus"], "g gives all of them one"),
        ):
            await pilot.press(*keys)
            assert words in text_of(app.screen, "#message")
        await pilot.press("g")
        app.engine.now(certainty="unknown")
        await pilot.press("plus")
        assert "not yet known" in text_of(app.screen, "#message")
        assert called(app, "makeup") == []

    drive(app, steps, SMALL)


def test_after_a_trial_levels_are_as_they_were_chosen(app):
    async def steps(pilot):
        await pilot.press("m", "d", "g", "b")
        await pilot.pause()
        app.engine.now(match=INSTALLED, drops="one", makeup=7.0)  # as a trial left them
        app.engine.calls.clear()
        await pilot.press("escape")
        await pilot.pause()
        assert called(app, "match") == [LOUDNESS]
        assert called(app, "drops") == ["equal"]
        assert called(app, "makeup") == [None]

    drive(app, steps, SMALL)


def test_the_next_switch_is_said_to_be_louder_beside_what_is_heard(app):
    far, near = End("drop", "beams"), End("drop", "reel")

    async def steps(pilot):
        await pilot.press("2", "d")
        app.engine.step_to = {far: 12.34, near: 2.0}
        await pilot.pause(0.3)
        now = text_of(app.screen, "#now")
        assert now.splitlines()[0].endswith("bought  louder: beams +12.3 dB")
        assert max(map(len, now.splitlines())) <= WIDTH
        app.engine.now(rising=11.8)
        await pilot.pause(0.3)
        assert "coming up slowly: 12 dB to go" in text_of(app.screen, "#now")
        app.engine.now(rising=0.0)
        app.engine.step_to = {}
        await pilot.pause(0.3)
        assert "12.3" not in text_of(app.screen, "#now")

    drive(app, steps, SMALL)


# ---- the words


def status(**values):
    return replace(START, heard=LONGEST, gains=Gains(1.39, 20.5, -10.25), **values)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (
            {"match": LOUDNESS},
            "receiving ends matched in loudness; drops not: one make-up (chosen)",
        ),
        (
            {"match": LOUDNESS, "makeup": 12.0},
            "receiving ends matched in loudness; drops not: one make-up (set)",
        ),
        (
            {"match": LOUDNESS, "drops": "equal"},
            "receiving ends matched in loudness; drops equally loud",
        ),
        (
            {"match": Match.at(1000.0), "drops": "equal"},
            "receiving ends matched at 1 kHz; drops equally loud",
        ),
        ({}, "levels as installed; drops at one make-up (chosen)"),
        ({"drops": "equal"}, "levels as installed; drops equally loud"),
        (
            {"drops": "equal", "certainty": "unknown"},
            "once measured: levels as installed; drops equally loud",
        ),
        ({"silent": True}, "drop over minus of bought is silent: no gain makes it heard"),
    ],
)
def test_what_is_matched_is_said_and_what_is_not(values, words):
    assert level_words(status(**values), WIDTH) == words


def test_a_narrow_place_does_not_say_that_all_ends_are_matched():
    """Of "receiving ends matched; drops not" it is the end that may go, and never the beginning."""
    now = status(match=LOUDNESS)
    assert level_words(now, 64) == "receiving ends matched in loudness; drops not: one make-up"
    early = replace(now, certainty="unknown")
    assert level_words(early, 76) == (
        "once measured: receiving ends matched in loudness; drops not: one make-up"
    )
    assert level_words(early, 64) == "nothing is matched yet"


def test_there_is_no_minus_nothing():
    now = replace(START, heard=LONGEST, gains=Gains(-1e-9, 12.0, -0.004))
    assert gain_words(now, WIDTH) == "gain +12.00 dB: match +0.00, make-up +12.00, headroom +0.00"
    assert step_words(status(rising=0.3), {}, WIDTH) == "coming up slowly: 1 dB to go"


def test_all_words_have_room_in_76_columns():
    for match in (INSTALLED, LOUDNESS, Match.at(1000.0)):
        for certainty in ("unknown", "predicted", "measured"):
            for drops in ("one", "equal"):
                now = status(match=match, certainty=certainty, drops=drops)
                assert len(level_words(now, WIDTH)) <= WIDTH
                assert len(gain_words(now, WIDTH)) <= WIDTH


def test_a_gain_says_what_it_rests_on():
    assert gain_words(status(), WIDTH) == (
        "gain +11.64 dB: match +1.39, make-up +20.50, headroom -10.25"
    )
    parts = "match +1.4, make-up +20.5, headroom -10.2"
    predicted = status(certainty="predicted", measured=0.417, measured_in=11.2)
    for width, words in (
        (110, f"gain +11.6 dB predicted: {parts}; measuring: 41 %, 12 s left"),
        (76, f"gain +11.6 dB predicted: {parts}; 41 %"),
        (68, f"predicted +11.6 dB: {parts}; 41 %"),
        (60, f"+11.6 dB: {parts}; 41 %"),
    ):
        assert gain_words(predicted, width) == words
    live = status(certainty="predicted", measured=1.0)  # is never known as a whole
    assert gain_words(live, 110) == f"gain +11.6 dB predicted: {parts}; from what came in so far"
    assert gain_words(live, 64) == f"predicted +11.6 dB: {parts}"
    unknown = replace(predicted, certainty="unknown", gains=Gains())
    assert gain_words(unknown, WIDTH) == (
        "gain +0.00 dB for now; levels not known yet; measuring: 41 %, 12 s left"
    )
    assert gain_words(unknown, 60) == "gain +0.00 dB for now; it is not yet known"


def test_what_would_be_louder_the_loudest_first_as_many_as_there_is_room_for():
    now = status()
    drop, end = End("drop", "reel", "minus"), End("receiving", "bought")
    assert step_words(now, {}, WIDTH) == ""
    assert step_words(now, {drop: -3.0, SOURCE: 0.04}, WIDTH) == "no switch from here is louder"
    steps = {drop: 3.0, end: 23.04, SOURCE: 22.0, End("drop", "reel"): 1.0}
    assert step_words(now, steps, WIDTH) == (
        "louder: receiving end +23.0, source +22.0, reel +3.0 dB"  # and drop of reel, over both
    )
    assert step_words(now, steps, 50) == "louder: receiving end +23.0, source +22.0 dB"
    assert step_words(now, steps, 25) == "louder next: +23.0 dB"
    named = step_words(replace(now, heard=SOURCE), {end: 2.0}, WIDTH)
    assert named == "louder: receiving end of bought +2.0 dB"
    many = {End("drop", f"run{n}", "minus"): float(n) for n in range(40)}
    assert step_words(now, many, WIDTH).startswith("louder: run39 +39.0, run38 +38.0, run37")
    assert "silence" in step_words(now, {drop: float("inf")}, WIDTH)


# ---- on the engine itself


@pytest.fixture
def real(tmp_path, monkeypatch):
    """The demo with drops 20 dB apart: beams over 62 m, reel over 5 m; and its own programme."""
    monkeypatch.setitem(sys.modules, "sounddevice", PacedDevice())
    rig, sound = tmp_path / "mill.toml", tmp_path / "evening.wav"
    near = 'runs.pond.cable = "reel"\nruns.pond.length = "7 m"'
    rig.write_text(DEMO.read_text().replace('runs.pond.cable = "reel"', near))
    sf.write(sound, evening(), 48_000, "PCM_24")
    draft = RigDraft(rig)
    engine = Engine(sound, list(draft.rig.choices.values()), volumes=tmp_path / "volumes.json")
    engine.start()
    yield BenchApp(draft, sound, engine, tmp_path / "trials")
    engine.stop()


def test_drops_on_the_engine_from_20_db_apart_to_equally_loud(real):
    async def until(pilot, done):
        for _ in range(600):
            if done():
                await pilot.pause(0.3)
                return
            await pilot.pause(0.05)
        raise TimeoutError(real.engine.status())

    def shown():
        lines = text_of(real.screen, "#now").splitlines()
        return dict(re.findall(r"(gain|match|make-up|headroom) ([+-][\d.]+)", lines[2])), lines

    async def steps(pilot):
        await until(pilot, lambda: real.engine.status().certainty == "measured")
        await pilot.press("d", "m")
        await until(pilot, lambda: real.engine.status().match == LOUDNESS)
        _, lines = shown()
        assert "drops not: one make-up (chosen)" in lines[1]
        (up,) = real.engine.steps([End("drop", "beams")])
        assert 18.0 < up < 26.0
        loud = max(up, *real.engine.steps([SOURCE, End("receiving", "reel")]))
        assert f"+{loud:.1f}" in lines[0]
        await pilot.press("plus")
        await until(pilot, lambda: real.engine.status().makeup is not None)
        figures, lines = shown()
        assert float(figures["make-up"]) == real.engine.status().makeup
        assert "(set)" in lines[1]
        await pilot.press("g", "g")
        await until(pilot, lambda: real.engine.status().drops == "equal")
        figures, lines = shown()
        assert lines[1].endswith("drops equally loud")
        assert float(figures["gain"]) == pytest.approx(real.engine.status().gains.total, abs=0.006)
        assert real.engine.steps([End("drop", "beams"), End("drop", "bought")]) == pytest.approx(
            [0.0, 0.0], abs=1e-9
        )

    drive(real, steps, SMALL)
