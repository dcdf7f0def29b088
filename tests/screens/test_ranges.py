"""Ranges worked out beside the screen: one at a time, for what they are about alone, in nobody's way."""

import threading

import pytest
from auralize_tui import ranges
from auralize_tui.curves import CurvePanel
from auralize_tui.ranges import Ranges

from auralize.errors import RequestError
from auralize.rig.editing import RigDraft
from support.bench_app import drive
from support.rig_text import amplifier, load, text

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
COILS = text(
    'title = "Coils"',
    amplifier(),
    '[cables.reel]\nconstruction = "twin"\nconductor = "2.5 mm2"\n',
    '[runs.pond]\nlength = "62 m"\ncable = "reel"\n',
    load(),
    "".join(
        f'[choices.c{turns}.runs.pond.lay]\nshape = "coiled"\nmean_diameter = "40 cm"\nturns = {turns}\n'
        for turns in (10, 20)
    )
    + "[choices.straight]\n",
)


class Held:
    """In place of `curve_range`: does not end before it may."""

    def __init__(self, monkeypatch):
        self.may_end, self.calls = threading.Event(), []
        monkeypatch.setattr(ranges, "curve_range", self)

    def __call__(self, choice, across):
        self.calls.append((choice.name, across))
        assert self.may_end.wait(60.0)
        if across != "both":
            raise RequestError("it cannot be told")
        return choice.name, across


@pytest.fixture
def held(monkeypatch):
    held = Held(monkeypatch)
    yield held
    held.may_end.set()


@pytest.fixture
def choices(tmp_path):
    rig = tmp_path / "coils.toml"
    rig.write_text(COILS)
    return list(RigDraft(rig).rig.choices.values())


def finish(found):
    found._search.join(60.0)
    assert found.take()


def test_one_is_worked_out_at_a_time_and_what_leaves_nothing_open_never(held, choices):
    found = Ranges()
    for _ in range(3):
        found.want(choices, "both")
    assert held.calls == [("c10", "both")]
    assert not found.take()
    assert found.of(choices[0], "both") is None
    held.may_end.set()
    finish(found)
    found.want(choices, "both")
    finish(found)
    found.want(choices, "both")
    assert not found.searching
    assert held.calls == [("c10", "both"), ("c20", "both")]
    assert found.of(choices[1], "both") == ("c20", "both")


def test_a_range_is_of_the_choice_and_the_conductors_that_it_was_worked_out_for(held, choices):
    held.may_end.set()
    found = Ranges()
    found.want(choices[:1], "both")
    finish(found)
    assert found.of(choices[0], "both") == ("c10", "both")
    assert found.of(choices[0], "plus") is None
    edited = choices[0].at("stage")
    assert found.of(edited, "both") == ("c10", "both")  # the same once more
    found.want(choices[:1], "plus")
    finish(found)
    assert found.of(choices[0], "plus") is None  # it cannot be told
    found.want(choices[:1], "plus")
    assert not found.searching  # nor is it tried again


def test_quitting_does_not_wait_for_a_range(held, opened):
    app = opened(COILS)

    async def steps(pilot):
        await pilot.pause()
        assert app.screen.query_one(CurvePanel)._ranges.searching

    drive(app, steps)  # comes back while the search is held
    assert held.calls
    assert not held.may_end.is_set()
