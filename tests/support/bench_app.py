"""The bench opened on the demo, driven by keys, and what is on its screen."""

import asyncio
from pathlib import Path

from auralize_tui.edit import EditScreen
from auralize_tui.setup import TrialSetup
from textual.widgets import Input, OptionList, Static

from auralize.rig.fields import fields_of

DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
SIZE = (80, 24)


def drive(app, steps, size=SIZE):
    """Run the app and ``steps(pilot)`` in it."""

    async def run():
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await app.workers.wait_for_complete()
            await steps(pilot)

    asyncio.run(run())


def text_of(screen, name):
    return str(screen.query_one(name, Static).render())


def everything(app):
    """All text that is on the screen."""
    return "\n".join(
        "".join(segment.text for segment in strip)
        for strip in app.screen._compositor.render_strips()
    )


def is_called(field, words):
    """By its words on the screen, or by what it is of and its key: "pond: lay, shape"."""
    of, _, key = words.partition(": ")
    keys = tuple(key.replace(", ", ",").replace(" ", "_").split(","))
    return field.words == words or (of in field.place and field.place[-len(keys) :] == keys)


def edit(pilot, app, words, value):
    """Open the editor, pick a field, type a value."""

    async def go():
        await pilot.press("e")
        await pilot.pause()
        assert isinstance(app.screen, EditScreen)
        fields = fields_of(app.draft, app.screen._choice)
        options = app.screen.query_one(OptionList)
        options.highlighted = next(at for at, f in enumerate(fields) if is_called(f, words))
        await pilot.press("enter")
        entry = app.screen.query_one(Input)
        entry.value = value
        await pilot.press("enter")
        await pilot.pause()

    return go()


async def begin_trial(
    pilot,
    app,
    *,
    protocol=None,
    signal=None,
    across="both",
    trials="4",
    practice=False,
    listeners="1",
):
    await pilot.press("b")
    await pilot.pause()
    setup = app.screen
    assert isinstance(setup, TrialSetup)
    setup.query_one("#listener", Input).value = "lamplighter"
    setup.query_one("#trials", Input).value = trials
    setup.query_one("#listeners", Input).value = listeners
    if protocol:
        setup.query_one("#protocol").value = protocol
    if signal:
        setup.query_one("#signal").value = (signal, across)
    if practice:
        setup.query_one("#counts").value = "practice"
    await pilot.pause()
    setup.begin()
    await pilot.pause()
