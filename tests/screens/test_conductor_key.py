"""The key that goes from the drop over both conductors to over plus, to over minus, and back."""

import numpy as np
import pytest
from auralize_tui.curves import CurvePanel

from auralize.circuit.solution import ACROSS, solve
from auralize.errors import RequestError
from auralize.gains import SOURCE, End
from auralize.trials.checking import verify
from support.bench_app import DEMO, begin_trial, drive, edit, everything, text_of

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
PATH = DEMO.with_name("path.toml")


@pytest.fixture
def app(opened):
    """A sound run, one with a corroded plug in plus, and one that ends behind a transformer."""
    rig = PATH.read_text(encoding="utf-8")
    rig = rig[: rig.index("[choices.hot]")]
    return opened(f'{rig}\n[choices.gate]\nlabel = "on the line"\nlisten = "gate"\n')


def heard(app):
    return app.engine.status().heard


def news(app):
    """The latest; those before stand below it."""
    return " ".join(text_of(app.screen, "#message").split()).splitlines()[0]


def test_it_goes_round_and_the_screen_says_where_it_is(app):
    async def steps(pilot):
        await pilot.press("2", "d")
        for across, words in (
            ("both", "OVER BOTH CONDUCTORS"),
            ("plus", "OVER PLUS"),
            ("minus", "OVER MINUS"),
            ("both", "OVER BOTH CONDUCTORS"),
        ):
            await pilot.pause(0.3)
            assert heard(app) == End("drop", "corroded", across)
            assert text_of(app.screen, "#now").startswith(f"THE DROP {words} of corroded\n")
            await pilot.press("c")

    drive(app, steps)


def test_it_is_for_the_drop_alone(app):
    async def steps(pilot):
        for key, now in (("r", End("receiving", "sound")), ("s", SOURCE)):
            await pilot.press(key, "c")
            await pilot.pause(0.3)
            assert heard(app) == now
            assert news(app) == ("c is for the drop: over both conductors, over plus, over minus")

    drive(app, steps)


def test_it_stays_from_choice_to_choice_and_from_signal_to_signal(app):
    async def steps(pilot):
        await pilot.press("d", "c", "2")
        assert heard(app) == End("drop", "corroded", "plus")
        await pilot.press("r")
        assert heard(app) == End("receiving", "corroded")
        await pilot.press("d", "1")
        assert heard(app) == End("drop", "sound", "plus")

    drive(app, steps)


def test_what_a_transformer_parts_is_heard_over_both_and_the_screen_says_why(app):
    sentence = (
        "choice 'gate': there is a transformer on the way to 'gate': no conductor runs all along it; "
        "the drop is heard over both conductors"
    )

    async def steps(pilot):
        await pilot.press("3", "d", "c")
        await pilot.pause(0.3)
        assert heard(app) == End("drop", "gate")
        assert " ".join(text_of(app.screen, "#message").split()) == sentence
        assert "over both conductors" in everything(app)  # all of the sentence can be read
        await pilot.press("1", "c")
        assert heard(app) == End("drop", "sound", "plus")
        await pilot.press("3")
        await pilot.pause(0.3)
        assert heard(app) == End("drop", "gate")
        assert " ".join(text_of(app.screen, "#message").split()) == sentence
        await pilot.press("1")
        assert heard(app) == End("drop", "sound")

    drive(app, steps)


def test_what_the_engine_refuses_is_heard_over_both(app):
    """It plays the rig as it was before an edit that is still being worked out."""
    hear = app.engine.hear

    def refuse(wanted):
        if wanted == End("drop", "sound", "plus"):
            raise RequestError("sound is not there yet")
        hear(wanted)

    app.engine.hear = refuse

    async def steps(pilot):
        await pilot.press("d", "c")
        await pilot.pause(0.3)
        assert heard(app) == End("drop", "sound")
        assert news(app).startswith("sound is not there yet; the drop is")

    drive(app, steps)


def test_an_edit_is_heard_over_the_same_conductor(app):
    async def steps(pilot):
        await pilot.press("d", "c")
        await edit(pilot, app, "lawn: length", "40 m")
        assert heard(app) == End("drop", "sound", "plus")
        await pilot.press("u")
        assert heard(app) == End("drop", "sound", "plus")

    drive(app, steps)


def drawn(app, name):
    """Hz, and dB of the drop, of a curve in the panel."""
    panel = app.screen.query_one(CurvePanel)
    (line,) = [line for line in panel.lines() if line.name == name]
    return line.hertz, line.levels


def test_the_curve_of_the_drop_goes_along(app):
    """By the circuit itself; what cannot be told is not drawn."""

    async def steps(pilot):
        await pilot.press("2", "d")
        choice = app.draft.rig.choices["corroded"]
        for across in ACROSS:
            title, *lines = app.screen.query_one(CurvePanel).render().plain.splitlines()
            over = "" if across == "both" else f" over {across}"
            assert title == f"drop{over}, dB re sending end"
            frequency, level = drawn(app, "corroded")
            solution = solve(choice.network, frequency)
            ratio = solution.drop("lawn", across) / solution.reference("lawn")
            np.testing.assert_allclose(level, 20 * np.log10(np.abs(ratio)), rtol=1e-9)
            assert np.isfinite(drawn(app, "gate")[1]).all() == (across == "both")
            shown = "".join(line[6:] for line in lines if line[5:6] in ("│", "┤"))
            assert "2 corroded" in shown
            assert ("3 gate" in shown) == (across == "both")
            await pilot.press("c")

    drive(app, steps)


def test_a_blind_trial_over_one_conductor_is_in_its_log(app):
    async def steps(pilot):
        await begin_trial(pilot, app, signal="drop", across="minus")
        (path,) = app.log_folder.glob("*.jsonl")
        plan = verify(path).plan
        assert [c.name for c in plan.choices] == [
            "drop over minus of sound",
            "drop over minus of corroded",
        ]

    drive(app, steps)


def test_after_it_a_blind_trial_of_the_receiving_end_can_be_set_up(app):
    async def steps(pilot):
        await pilot.press("d", "c", "r", "b")
        await pilot.pause()
        assert app.screen.query_one("#signal").value == ("receiving", "both")

    drive(app, steps)


def test_a_blind_trial_of_what_cannot_be_told_is_not_begun(app):
    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        setup = app.screen
        setup.query_one("#second").value = "gate"
        setup.query_one("#signal").value = ("drop", "plus")
        await pilot.pause()
        setup.begin()
        await pilot.pause()
        assert app.screen is setup
        assert "there is a transformer on the way to 'gate'" in text_of(setup, "#setup-message")
        assert not list(app.log_folder.glob("*"))

    drive(app, steps)
