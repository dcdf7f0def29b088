"""The main ways through the bench on the engine itself: what the screen says is what the engine does."""

import json
import re
import sys

import numpy as np
import pytest
import soundfile as sf
from auralize_tui.app import BenchApp
from auralize_tui.bench import BenchScreen
from auralize_tui.curves import CurvePanel
from auralize_tui.help import HelpScreen
from auralize_tui.trials import TrialScreen
from textual.widgets import Input

from auralize.circuit.solution import solve
from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End, Match
from auralize.live.engine import Engine
from auralize.live.settings import kept
from auralize.rig.editing import RigDraft
from auralize.rig.reading import load_rig
from auralize.trials.checking import verify
from support.bench_app import DEMO, begin_trial, drive, edit, text_of
from support.paced_device import NAME, PacedDevice

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
SHOWN = 0.005 * 1.001
"""dB: the screen rounds to two places."""


def opened(tmp_path, monkeypatch, device):
    monkeypatch.setitem(sys.modules, "sounddevice", device)
    rig, sound = tmp_path / "mill.toml", tmp_path / "bells.wav"
    rig.write_bytes(DEMO.read_bytes())
    t = np.arange(4 * 48_000) / 48_000
    tones = 0.2 * np.sin(2 * np.pi * 200 * t) + 0.1 * np.sin(2 * np.pi * 3000 * t)
    sf.write(sound, tones, 48_000, "PCM_24")
    draft = RigDraft(rig)
    engine = Engine(sound, list(draft.rig.choices.values()), volumes=tmp_path / "volumes.json")
    engine.start()
    return BenchApp(draft, sound, engine, tmp_path / "trials")


@pytest.fixture
def device():
    return PacedDevice()


@pytest.fixture
def real(tmp_path, monkeypatch, device):
    """On a device that takes sound."""
    app = opened(tmp_path, monkeypatch, device)
    yield app
    app.engine.stop()


@pytest.fixture(params=["a device", "no device"])
def either(tmp_path, monkeypatch, request):
    """On a device that takes sound, and where there is none."""
    app = opened(tmp_path, monkeypatch, PacedDevice(there=request.param == "a device"))
    yield app
    app.engine.stop()


async def until(pilot, done):
    """Wait for the engine's threads, and then for the screen to have looked at it."""
    for _ in range(400):
        if done():
            await pilot.pause(0.25)
            return
        await pilot.pause(0.05)
    raise TimeoutError(f"{pilot.app.engine.status()}")


async def measured(pilot, app):
    def done():
        status = app.engine.status()
        return status.certainty == "measured" and not status.editing

    await until(pilot, done)


def agrees(app):
    """The panel of what is heard, against the engine."""
    status = app.engine.status()
    heard, match, gains, *_ = text_of(app.screen, "#now").splitlines()
    words = status.heard.words.removeprefix("drop of ")
    whole = f"drop over both conductors of {words}"  # said on the screen alone
    assert (
        heard.lower()
        .removeprefix("the ")
        .startswith(whole if words != status.heard.words else words)
    )
    assert match.startswith(f"{status.match.words}; drops ")
    figures = dict(re.findall(r"(gain|match|make-up|headroom) ([+-][\d.]+)", gains))
    is_drop = isinstance(status.heard, End) and status.heard.signal == "drop"
    assert ("make-up" in figures) == is_drop
    assert float(figures["gain"]) == pytest.approx(status.gains.total, abs=SHOWN)
    assert float(figures["match"]) == pytest.approx(status.gains.match, abs=SHOWN)
    assert float(figures["headroom"]) == pytest.approx(status.gains.headroom, abs=SHOWN)
    if is_drop:
        assert float(figures["make-up"]) == pytest.approx(status.gains.makeup, abs=SHOWN)
    assert f"volume {status.volume:+.0f} dB" in text_of(app.screen, "#meters")
    return status


def lost_at_1khz(app):
    """dB between source and loudspeaker of reel as it is drafted, the amplifier's output in it."""
    choice = app.draft.rig.choices["reel"]
    arrives = solve(choice.network, [1000.0]).receiving[choice.listen][0]
    return -20.0 * np.log10(abs(arrives))


HEARD = [
    ("2", End("receiving", "bought")),
    ("d", End("drop", "bought")),
    ("c", End("drop", "bought", "plus")),
    ("3", End("drop", "beams", "plus")),
    ("c", End("drop", "beams", "minus")),
    ("s", SOURCE),
    ("1", End("receiving", "reel")),
    ("r", End("receiving", "reel")),
]


def test_what_is_heard_is_what_the_engine_lets_be_heard(either):
    async def steps(pilot):
        await measured(pilot, either)
        for key, heard in HEARD:
            await pilot.press(key)
            await until(pilot, lambda heard=heard: either.engine.status().heard == heard)
            assert agrees(either).heard == heard

    drive(either, steps)


def test_a_drop_over_one_conductor_is_made_up_by_what_it_lacks(real):
    """Half the voltage is 6.02 dB less; make-up is in whole dB, so it lacks 0 to 1 dB of that."""

    async def steps(pilot):
        await measured(pilot, real)
        await pilot.press("d")
        await pilot.pause(0.3)
        both = agrees(real).gains
        await pilot.press("c")
        await pilot.pause(0.3)
        one = agrees(real).gains
        assert both.makeup > 0.0
        assert one.makeup - both.makeup in (6.0, 7.0)

    drive(real, steps)


def test_the_match_goes_round_and_at_1_khz_it_takes_the_loss_back(real):
    async def steps(pilot):
        await measured(pilot, real)
        for match in (LOUDNESS, Match.at(1000.0), INSTALLED):
            await pilot.press("m")
            await until(pilot, lambda match=match: real.engine.status().match == match)
            await measured(pilot, real)
            gain = agrees(real).gains.match
            if match == INSTALLED:
                assert gain == 0.0
            if match == Match.at(1000.0):
                assert gain == pytest.approx(lost_at_1khz(real), rel=1e-9)

    drive(real, steps)


def test_an_edit_is_heard_undone_and_written(either):
    async def steps(pilot):
        await measured(pilot, either)
        await edit(pilot, either, "pond: length", "200 m")
        await measured(pilot, either)
        assert either.engine.choices["reel"].network.runs["pond"].length == 200.0
        await pilot.press("m", "m")  # at 1 kHz
        await pilot.pause(0.3)
        assert agrees(either).gains.match == pytest.approx(lost_at_1khz(either), rel=1e-9)
        longer = lost_at_1khz(either)
        await pilot.press("u")
        await until(pilot, lambda: either.engine.choices == either.draft.rig.choices)
        await measured(pilot, either)
        assert agrees(either).gains.match == pytest.approx(lost_at_1khz(either), rel=1e-9)
        assert lost_at_1khz(either) < 0.5 * longer
        await edit(pilot, either, "pond: length", "31 m")
        await pilot.press("w")
        assert load_rig(either.draft.path).choices == either.engine.choices

    drive(either, steps)


def test_help_is_there_and_goes(real):
    async def steps(pilot):
        await pilot.press("question_mark")
        assert isinstance(real.screen, HelpScreen)
        await pilot.press("escape", "space")
        assert isinstance(real.screen, BenchScreen)
        await until(pilot, lambda: real.engine.status().playing)

    drive(real, steps)


def test_it_plays_pauses_seeks_loops_and_is_quiet(real, device):
    async def steps(pilot):
        await until(pilot, lambda: real.engine.status().state == "running")
        assert f"playing on {NAME} at 48000 Hz" in text_of(real.screen, "#message")
        await pilot.press("space")
        await until(pilot, lambda: real.engine.status().position > 0.5)
        assert text_of(real.screen, "#meters").startswith("playing 0:0")
        await pilot.press("up", "space")
        await until(pilot, lambda: not real.engine.status().playing)
        status = agrees(real)
        assert f"paused 0:{status.position:04.1f} of 0:04.0" in text_of(real.screen, "#meters")
        await pilot.press("l", "right", "l")
        await until(pilot, lambda: real.engine.status().loop is not None)
        start, end = real.engine.status().loop
        assert f"loop 0:{start:04.1f} to 0:{end:04.1f}" in text_of(real.screen, "#meters")
        assert 0.0 < device.peak < 0.3 * 10 ** (-19 / 20) * 1.5  # the tones, as softly as is said

    drive(real, steps)


def test_without_a_device_it_says_so_and_waits(tmp_path, monkeypatch):
    app = opened(tmp_path, monkeypatch, PacedDevice(there=False))

    async def steps(pilot):
        await until(pilot, lambda: app.engine.status().state == "lost")
        assert "there is no output device" in text_of(app.screen, "#message")
        await pilot.press("space")
        await until(pilot, lambda: app.engine.status().playing)
        assert text_of(app.screen, "#meters").startswith("waiting for the device at 0:00.0")

    try:
        drive(app, steps)
    finally:
        app.engine.stop()


def test_a_blind_trial_from_setup_to_giving_it_up(real):
    async def steps(pilot):
        await until(pilot, lambda: real.engine.status().state == "running")
        await measured(pilot, real)
        await pilot.press("d")
        before = real.engine.status().heard
        await begin_trial(pilot, real)
        assert isinstance(real.screen, TrialScreen)
        shown = set()
        for key in "123":
            await pilot.press(key)
            await until(pilot, lambda: real.engine.status().slot is not None)
            status = real.engine.status()
            assert status.playing
            assert status.heard == before  # nothing tells what is behind the slot
            assert f"volume {status.volume:+.0f} dB, playing" in text_of(real.screen, "#trial-text")
            told = text_of(real.screen, "#trial-text").replace(">", " ")
            shown.add(re.sub(r"\d:\d\d\.\d", "0:00.0", told))  # but for how time goes on
        assert len(shown) == 1
        await pilot.press("down", "enter", "q", "q")
        await until(pilot, lambda: isinstance(real.screen, BenchScreen))
        status = agrees(real)
        assert status.slot is None
        assert status.heard == before
        assert status.match == INSTALLED

    drive(real, steps)
    (log,) = real.log_folder.glob("*.jsonl")
    check = verify(log)
    assert (check.state, check.answered, check.discrepancies) == ("given up", 1, ())
    gains = [choice.gain_db for choice in check.plan.choices]
    assert gains[0] != gains[1]  # two runs of unlike loss, made equally loud


def test_the_curves_are_those_of_what_the_engine_plays(real):
    async def steps(pilot):
        panel = real.screen.query_one(CurvePanel)
        for keys, words in (
            (["space"], "loss from the amplifier's terminals, dB"),
            (["2", "d"], "drop, dB re sending end"),
            (["c"], "drop over plus, dB re sending end"),
            (["s"], "loss from the amplifier's terminals, dB"),
        ):
            await pilot.press(*keys)
            await until(pilot, lambda: not real.engine.status().editing)
            heard = real.engine.status().heard
            assert panel.words() == words
            assert ("drop" in words) == (isinstance(heard, End) and heard.signal == "drop")
            (chosen,) = [line for line in panel.lines() if line.chosen]
            assert heard == SOURCE or chosen.name == heard.choice
            if words.startswith("drop"):
                choice = real.engine.choices[heard.choice]
                solution = solve(choice.network, chosen.hertz)
                ratio = solution.drop("stage", heard.across) / solution.reference("stage")
                np.testing.assert_allclose(chosen.levels, 20 * np.log10(np.abs(ratio)), rtol=1e-9)

    drive(real, steps)


# ---- work on the bench -------------------------------------------------------------------------------


async def typed(pilot, app, text):
    """Type into the card's own field, and take it."""
    app.screen.query_one(Input).value = text
    await pilot.press("enter")
    await pilot.pause()


def test_choices_come_and_go_while_the_sound_goes_on(real):
    async def steps(pilot):
        await measured(pilot, real)
        await pilot.press("space", "d")
        await until(pilot, lambda: real.engine.status().position > 0.2)
        before = real.engine.status()
        await pilot.press("e", "c")
        await typed(pilot, real, "longer")
        await until(pilot, lambda: real.engine.status().heard == End("drop", "longer"))
        assert agrees(real).gains == before.gains  # it is just as the other one
        await edit(pilot, real, "pond: length", "200 m")
        await until(pilot, lambda: real.engine.choices == real.draft.rig.choices)
        await pilot.press("e", "n")
        await typed(pilot, real, "far")
        await until(pilot, lambda: real.engine.status().heard == End("drop", "far"))
        assert set(real.engine.choices) == {"reel", "bought", "beams", "far"}
        await pilot.press("e", "delete")
        await until(pilot, lambda: real.engine.status().heard == End("drop", "beams"))
        await pilot.press("u", "4")  # designed anew, and heard as soon as it is
        await until(pilot, lambda: real.engine.status().heard == End("drop", "far"))
        assert real.engine.choices == real.draft.rig.choices
        status = agrees(real)
        assert status.starved == 0
        assert status.underruns == before.underruns

    drive(real, steps)


def test_the_first_minute_ends_at_a_drop_beside_another_equally_loud(real):
    """Five keys at most, each the first that the screen says; then the engine's own levels agree."""

    async def steps(pilot):
        await measured(pilot, real)
        first, pressed = real.screen.chosen, []
        while (told := text_of(real.screen, "#hint")).startswith("Next: "):
            pressed.append(told.removeprefix("Next: ").split()[0].rstrip(":"))
            await pilot.press(pressed[-1])
            await pilot.pause(0.3)
            assert len(pressed) <= 5
        await measured(pilot, real)
        status = real.engine.status()
        assert status.playing
        other = status.heard.choice
        assert other != first
        assert status.heard == End("drop", other)
        step = real.engine.steps([End("drop", first)])[0]
        assert step == pytest.approx(0.0, abs=0.1)  # equally loud, as loudness is measured

    drive(real, steps)


def test_presets_places_settings_and_files(real):
    folder = real.source.with_name("bells-compared")

    async def steps(pilot):
        await measured(pilot, real)
        await pilot.press("y", "down", "enter")  # coiled, both conductors together
        await until(pilot, lambda: real.engine.choices == real.draft.rig.choices)
        assert "49.3 turns" in real.engine.choices["reel"].runs["pond"].lay.words
        await pilot.press("t")
        await typed(pilot, real, "0:01.5")
        await until(pilot, lambda: real.engine.status().position == 1.5)
        await pilot.press("full_stop")
        await until(pilot, lambda: round(real.engine.status().position, 3) == 1.6)
        await pilot.press("t")
        await typed(pilot, real, "0.5 to 2.5")
        await until(pilot, lambda: real.engine.status().loop == (0.5, 2.5))
        await pilot.press("d", "m", "W", "enter")
        await measured(pilot, real)
        heard = agrees(real)
        await pilot.press("x", "enter")
        await real.workers.wait_for_complete()
        facts = json.loads(next(folder.glob("bells.reel.drop*.json")).read_text())
        assert facts["gain_db"]["match"] == pytest.approx(heard.gains.match, abs=0.01)
        assert facts["gain_db"]["makeup"] == heard.gains.makeup

    drive(real, steps)
    found = kept(real.draft.path, real.engine.choices, 4.0)
    assert (found.loop, found.match, found.signal) == ((0.5, 2.5), LOUDNESS, "drop")


def test_tab_goes_between_the_two_that_are_pinned(real):
    async def steps(pilot):
        await measured(pilot, real)
        await pilot.press("p", "3", "p", "d")
        for name in ("reel", "beams", "reel"):
            await pilot.press("tab")
            await until(pilot, lambda name=name: real.engine.status().heard == End("drop", name))
            assert f"of {name}" in text_of(real.screen, "#now")

    drive(real, steps)
