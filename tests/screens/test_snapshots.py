"""Pictures of every screen at 80 x 24; `pytest --snapshot-update` makes them anew: look at them first."""

import shutil
from pathlib import Path

import pytest
from auralize_tui.app import BenchApp
from auralize_tui.trials import TrialScreen

from auralize.rig.editing import RigDraft
from auralize.trials.sitting import Sitting
from support.bench_engine import SilentEngine

pytest.importorskip("pytest_textual_snapshot", reason="pictures need pytest-textual-snapshot")
pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
SIZE = (80, 24)


@pytest.fixture
def app(tmp_path, monkeypatch):
    monkeypatch.setattr(
        "auralize_tui.curves.CurvePanel.read_spectrum", lambda panel, programme: None
    )
    rig = tmp_path / "mill.toml"
    shutil.copy(DEMO, rig)
    draft = RigDraft(rig)
    return BenchApp(
        draft, Path("bells.wav"), SilentEngine(draft.rig.choices.values()), tmp_path / "trials"
    )


@pytest.fixture
def plain(monkeypatch):
    """As on a terminal without colour."""
    monkeypatch.setenv("NO_COLOR", "1")


async def _still(pilot):
    """No cursor that blinks."""
    for entry in pilot.app.screen.query("Input"):
        entry.cursor_blink = False
    await pilot.pause(0.2)


SCREENS = {
    "the bench": ["2", "d"],
    "curves of the drop": ["v"],
    "help": ["question_mark"],
    "edit": ["e"],
    "setup of a blind trial": ["b"],
}


@pytest.mark.parametrize("name", SCREENS)
def test_screen(snap_compare, app, name):
    assert snap_compare(app, press=SCREENS[name], terminal_size=SIZE, run_before=_still)


def test_bench_without_colour(plain, snap_compare, app):
    assert snap_compare(app, press=["2"], terminal_size=SIZE, run_before=_still)


def test_a_terminal_that_is_too_small(snap_compare, app):
    assert snap_compare(app, terminal_size=(50, 15), run_before=_still)


class _Answers:
    """Stands in for a practice session."""

    def __init__(self, protocol):
        self.protocol, self.answered = protocol, 0
        self.question = "drop of reel against drop of bought, made equally loud; bells.wav"

    def present(self, presentation, player):
        player(0)

    def answer(self, index):
        return None


@pytest.mark.parametrize(
    ("protocol", "press"), [("matched-to-sample", ["3", "down"]), ("triangle", ["2", "up"])]
)
def test_trial(snap_compare, app, protocol, press):
    async def begin(pilot):
        screen = TrialScreen(
            Sitting(_Answers(protocol), app.engine.hear_slot, lambda: 1.0), app.engine
        )
        await pilot.app.push_screen(screen)
        await pilot.press(*press)
        await _still(pilot)

    assert snap_compare(app, terminal_size=SIZE, run_before=begin)
