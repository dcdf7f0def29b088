"""Blind sessions that were cut off, and gone on with at the screen or refused."""

import numpy as np
import pytest
import soundfile as sf
from auralize_tui.outcome import OutcomeScreen
from auralize_tui.setup import TrialSetup
from auralize_tui.trials import TrialScreen
from textual.widgets import Button, Static

from auralize.outputs import sha256_of
from auralize.trials.checking import verify
from auralize.trials.log import Log
from auralize.trials.plan import Compared, Plan, TrialError
from auralize.trials.session import Session
from support.bench_app import begin_trial, drive, everything, text_of

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")


def cut_off_after_two(app, protocol="triangle"):
    """A session that ends with the application in the middle of its third trial; its log."""

    async def steps(pilot):
        await begin_trial(pilot, app, protocol=protocol)
        for _ in range(2):
            await pilot.press("1", "2", "3", "down", "enter")
        await pilot.press("2")

    drive(app, steps)
    (log,) = app.log_folder.glob("*.jsonl")
    return log


_left: dict[str, bytes] = {}


def left_after_two(app):
    """The same, played once for all who only look at what is left."""
    if not _left:
        folder = cut_off_after_two(app).parent
        _left.update((path.name, path.read_bytes()) for path in folder.iterdir())
    app.log_folder.mkdir(exist_ok=True)
    for name, content in _left.items():
        (app.log_folder / name).write_bytes(content)


def test_a_session_that_was_cut_off_goes_on(app, again):
    log = cut_off_after_two(app)

    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        await pilot.press("enter")  # the first thing there is, if there is one
        await pilot.pause()
        assert isinstance(again.screen, TrialScreen)
        assert "Trial 3 of 4" in text_of(again.screen, "#trial-text")
        for _ in range(2):
            await pilot.press("1", "2", "3", "down", "enter")
        await pilot.pause()
        assert isinstance(again.screen, OutcomeScreen)
        assert str(log) in str(again.screen.query_one(Static).render())
        await pilot.press("escape", "b")
        await pilot.pause()
        assert not again.screen.query("#resume")  # it is over

    drive(again, steps)
    check = verify(log)
    assert check.outcome is not None
    assert "cut off and resumed" in check.remarks[0]


def refusal(app):
    """What the setup says when it is asked to go on."""
    said = []

    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        await pilot.click("#resume")
        await pilot.pause()
        assert isinstance(app.screen, TrialSetup)
        said.append(text_of(app.screen, "#setup-message"))

    drive(app, steps)
    return said[0]


def test_a_session_does_not_go_on_with_other_sound(app, again, monkeypatch):
    left_after_two(app)
    monkeypatch.setattr(again.engine, "load_slots", lambda heard, *, equal: [0.0, -0.5])
    assert refusal(again) == (
        "receiving end of bought has changed since: its gain is -0.50 dB now and was +0.00 dB; "
        "that session needs the rig as it was"
    )


@pytest.mark.parametrize(("gain", "goes_on"), [(-0.02, False), (0.02, False), (0.005, True)])
def test_a_session_goes_on_only_where_gains_are_the_same_to_a_hundredth_of_a_decibel(
    app, again, monkeypatch, gain, goes_on
):
    left_after_two(app)
    monkeypatch.setattr(again.engine, "load_slots", lambda heard, *, equal: [0.0, gain])

    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        await pilot.click("#resume")
        await pilot.pause()
        assert isinstance(again.screen, TrialScreen) == goes_on

    drive(again, steps)


def cut_off_before_an_answer(app, name, listener, programme_sha256):
    """A session of three trials that was begun and left."""
    pair = tuple(
        Compared(f"receiving end of {choice}", 0.0, "62 m", "0" * 64)
        for choice in ("reel", "bought")
    )
    plan = Plan("triangle", 3, pair, "made equally loud", "bells.wav", programme_sha256, listener)
    app.log_folder.mkdir(exist_ok=True)
    Session.start(plan, app.log_folder / name).close_log()


def offered(app):
    """What the setup offers to go on with."""
    found = []

    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        found.append(str(app.screen.query_one("#resume", Button).label))

    drive(app, steps)
    return found[0]


def test_of_several_sessions_the_last_on_this_programme_is_gone_on_with(app):
    here, elsewhere = sha256_of(app.source), "0" * 64
    cut_off_before_an_answer(app, "trial-1.jsonl", "first", here)
    cut_off_before_an_answer(app, "trial-2.jsonl", "second", here)
    cut_off_before_an_answer(app, "trial-3.jsonl", "third", elsewhere)
    assert offered(app).startswith("Go on with the session of second ")


def test_of_several_sessions_on_other_programmes_the_last_is_offered(app):
    cut_off_before_an_answer(app, "trial-1.jsonl", "first", "0" * 64)
    cut_off_before_an_answer(app, "trial-2.jsonl", "second", "1" * 64)
    assert offered(app).startswith("Go on with the session of second ")


def test_a_listener_may_have_a_name_that_looks_like_markup(app):
    cut_off_before_an_answer(app, "trial-1.jsonl", "[/] [b]mill[/b]", sha256_of(app.source))
    assert offered(app) == (
        "Go on with the session of [/] [b]mill[/b] that was cut off: 0 of 3 answered"
    )


def test_a_session_does_not_go_on_with_another_build(app, again):
    """Also where it is so little that its gain is the same."""
    left_after_two(app)
    again.draft.change("bought", ("runs", "pond", "temperature"), "25 degC")
    said = refusal(again)
    assert said.startswith("receiving end of bought is now pond 62 m (203 ft) of 4 mm2")
    assert "at 25 degC" in said
    assert "and was pond 62 m (203 ft) of 4 mm2" in said


def test_a_session_does_not_go_on_with_another_programme(app, again):
    left_after_two(app)
    sf.write(again.source, np.zeros((100, 1)), 48_000)
    assert refusal(again) == "that session was held on another programme: bells.wav"


def test_a_session_does_not_go_on_with_another_rig(app, again):
    left_after_two(app)
    again.draft.rig.choices.pop("bought")
    assert refusal(again) == (
        "that session was held on another rig: it has receiving end of bought"
    )


def test_a_session_cut_off_after_its_last_answer_shows_what_it_found(app, again, monkeypatch):
    def full(log, record):
        if record["record"] == "closing":
            raise TrialError("the disk is full")
        append(log, record)

    append = Log.append

    async def steps(pilot):
        await begin_trial(pilot, app, trials="1")
        monkeypatch.setattr(Log, "append", full)
        await pilot.press("1", "2", "3", "down", "enter")
        monkeypatch.setattr(Log, "append", append)

    drive(app, steps)

    async def go_on(pilot):
        await pilot.press("b")
        await pilot.pause()
        await pilot.click("#resume")
        await pilot.pause()
        assert isinstance(again.screen, OutcomeScreen)

    drive(again, go_on)


def test_a_cut_off_session_is_offered_and_refused_where_the_programme_has_gone(app, again):
    left_after_two(app)

    async def steps(pilot):
        again.source.unlink()
        await pilot.press("b")
        await pilot.pause()
        await pilot.click("#resume")
        await pilot.pause()
        assert text_of(again.screen, "#setup-message") == (
            f"{again.source} cannot be read: no such file or directory"
        )

    drive(again, steps)


def test_that_a_session_could_not_be_gone_on_with_is_said_at_its_start(app, tmp_path, monkeypatch):
    """On the smallest screen, all of it."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))

    async def steps(pilot):
        await begin_trial(pilot, app)
        assert isinstance(app.screen, TrialScreen)
        shown = "".join(everything(app).split())
        assert "ifthissessioniscutoff,itcannotbegoneonwith" in shown
        assert "notadirectory" in shown

    drive(app, steps, size=(76, 21))
