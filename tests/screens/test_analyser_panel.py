"""The analyser on the screen: what it draws, its keys, and on the real engine that it shows what sounds."""

import numpy as np
import pytest
from auralize_tui.analyser import MODES, AnalyserPanel, drawn, marks_of, picture, scale_of
from auralize_tui.curves import CurvePanel

from auralize.audio.analyser import Readings, line_points, mid_bands
from auralize.gains import SOURCE, End
from auralize.live.analysis import Spectrum
from support.bench_app import drive, everything

REEL, DROP = End("receiving", "reel"), End("drop", "reel")


def spectrum(heard=(SOURCE, REEL, DROP), fineness="thirds", louder=0.0, position=12.5):
    """A source of -30 dBFS in every band, each other signal 12 dB under the one before; gains of 6 dB."""
    frequencies = mid_bands(48_000) if fineness == "thirds" else line_points(48_000)

    def level(value):
        whole = np.full(len(frequencies), value)
        return Readings(whole, whole - 1.0, whole + 2.0)

    bare = {h: level(-30.0 + louder - 12.0 * n) for n, h in enumerate(heard)}
    return Spectrum(
        fineness, frequencies, level(-24.0 + louder), bare, dict.fromkeys(heard, 6.0), position, 0
    )


# ---- what is drawn


def test_bars_are_what_is_played_and_lines_all_else_with_their_gains():
    found = drawn(spectrum(), DROP, ("fast", False), held=False)
    assert found.bars == pytest.approx(-24.0)
    assert list(found.lines) == ["S", "R"]
    assert found.lines["S"][1] == pytest.approx(-30.0 + 6.0)
    assert found.lines["R"][1] == pytest.approx(-42.0 + 6.0)
    assert drawn(spectrum(), DROP, ("slow", False), held=False).bars == pytest.approx(-25.0)
    assert drawn(spectrum(), DROP, ("slow", False), held=True).bars == pytest.approx(-22.0)


def test_relative_to_the_source_there_are_no_gains_and_no_source():
    found = drawn(spectrum(), DROP, ("fast", True), held=True)
    assert found.bars == pytest.approx(-24.0)  # two steps of 12 dB
    assert {mark: line[1][0] for mark, line in found.lines.items()} == {"R": -12.0}


def test_each_line_has_a_mark_of_its_own_and_says_its_choice_where_there_are_two():
    names = ["reel", "bought", "beams"]
    assert marks_of([SOURCE, REEL, DROP], names) == ["S", "R", "D"]
    other = End("drop", "beams")
    assert marks_of([SOURCE, DROP, other], names) == [
        "S",
        "1",
        "3",
    ]  # as in the list and the curves
    for relative, source in ((False, {"S": "source"}), (True, {})):
        seen = spectrum((SOURCE, DROP, other))
        found = drawn(seen, DROP, ("fast", relative), held=False, names=names)
        words = {mark: words for mark, (words, _) in found.lines.items()}
        assert words == {**source, "3": "drop beams"}


@pytest.mark.parametrize("dots", ["braille", "blocks", "plain"])
def test_a_bar_stands_as_high_as_its_level_says(dots):
    now = drawn(spectrum(), DROP, ("fast", False), held=False)
    scale = scale_of([now.bars], relative=False)
    assert (scale.low, scale.high) == (-80.0, -20.0)
    rows = [row.plain for row in picture(now, None, scale, 60, 14, dots)]
    assert len(rows) == 14
    assert all(len(row) <= 60 for row in rows)
    assert rows[0].startswith("  -20")
    filled = {"braille": "⣿", "blocks": "█", "plain": "#"}[dots]
    first = next(n for n, row in enumerate(rows) if filled in row)
    assert first in (1, 2)  # -24 dBFS: a fifteenth of the way down 13 rows
    assert rows[-1].split() == ["Hz", "50", "200", "1k", "5k", "10k"]


def test_silence_and_levels_that_are_no_numbers_are_drawn_as_nothing():
    quiet = spectrum(louder=-400.0)
    now = drawn(quiet, DROP, ("fast", False), held=False)
    scale = scale_of([now.bars], relative=False)
    rows = picture(now, None, scale, 40, 10, "plain")
    assert "#" not in "".join(row.plain for row in rows)
    assert scale_of([np.full(31, np.nan)], relative=True).high <= 0.0


# ---- keys


@pytest.fixture
def bench(app):
    return app


@pytest.fixture
def silent(app):
    return app.engine


async def shows(pilot, done):
    """Wait until the screen shows, or is, this."""
    for _ in range(200):
        await pilot.pause(0.05)
        if done in everything(pilot.app) if isinstance(done, str) else done():
            return
    raise TimeoutError(everything(pilot.app))


def test_a_goes_from_curves_to_thirds_to_a_fine_line_and_back(bench, silent):
    async def steps(pilot):
        panel, curves = bench.screen.query_one(AnalyserPanel), bench.screen.query_one(CurvePanel)
        assert curves.display
        assert not panel.display
        silent.picture = spectrum()
        await pilot.press("a")
        await shows(pilot, "third octaves, fast, dBFS")
        await shows(pilot, "bars: heard now  ")
        assert panel.display
        assert not curves.display
        assert silent.looked[1] == "thirds"
        assert set(silent.looked[0]) >= {SOURCE, End("receiving", bench.screen.chosen)}
        await pilot.press("a")
        await shows(pilot, "just a moment")  # no picture of thirds under the name of a line
        await shows(pilot, lambda: silent.looked[1] == "line")
        silent.picture = spectrum(fineness="line")
        await shows(pilot, "fine line, fast, dBFS")
        await shows(pilot, "bars: heard now  ")
        await pilot.press("a")
        await shows(pilot, lambda: curves.display and not panel.display)
        silent.looked = None
        await pilot.pause(0.5)
        assert silent.looked is None  # nobody asks any more, so nothing is analysed

    drive(bench, steps)


def test_f_h_and_k_are_there_only_while_it_is_shown(bench, silent):
    async def steps(pilot):
        own = {"f", "h", "k"}
        assert not own & set(bench.screen.active_bindings)
        silent.picture = spectrum()
        silent.now(playing=True, heard=DROP)
        await pilot.press("a")
        await shows(pilot, "bars: heard now  ")
        assert own <= set(bench.screen.active_bindings)
        for weighting, relative in (*MODES[1:], MODES[0]):
            await pilot.press("f")
            await shows(pilot, f"octaves, {weighting}, dB{' over source' if relative else 'FS'}")
        await pilot.press("h")
        await shows(pilot, "octaves, highest")
        panel = bench.screen.query_one(AnalyserPanel)
        await shows(pilot, lambda: panel._now.bars == pytest.approx(-24.0 + 2.0))
        silent.picture = spectrum(louder=-10.0)
        await pilot.pause(0.5)
        assert panel._now.bars == pytest.approx(-24.0 + 2.0)  # as high as it was
        await pilot.press("h")
        await shows(pilot, lambda: panel._now.bars == pytest.approx(-34.0))
        await pilot.press("h", "f", "f")
        await shows(pilot, "octaves, fast, highest, dB over source")
        await pilot.press("h", "f", "f")
        await shows(pilot, "octaves, fast, dBFS")
        await shows(pilot, lambda: panel._now.bars == pytest.approx(-34.0))
        await pilot.press("k")
        await shows(pilot, "k kept")
        silent.picture = spectrum(louder=3.0)
        await shows(pilot, lambda: panel._now.bars == pytest.approx(-21.0))
        assert panel._kept[0].bars == pytest.approx(-34.0)
        await pilot.press("k")
        await shows(pilot, lambda: "k kept" not in everything(bench))

    drive(bench, steps)


@pytest.mark.parametrize("size", [(76, 21), (80, 24), (120, 36), (200, 60)])
def test_it_is_whole_at_every_size(bench, silent, size):
    async def steps(pilot):
        silent.picture = spectrum()
        silent.now(playing=True, heard=DROP)
        await pilot.press("a")
        await shows(pilot, "S source")
        shown = everything(bench)
        for words in ("bars: heard now", "S source", "R receiving", "1k"):
            assert words in shown, shown

    drive(bench, steps, size)


def test_what_is_heard_blind_is_not_shown(bench, silent):
    async def steps(pilot):
        silent.picture = None
        silent.now(slot=0)
        await pilot.press("a")
        await shows(pilot, "nothing is shown of what is heard blind")

    drive(bench, steps)


def test_two_pinned_choices_stand_one_above_the_other(bench, silent):
    async def steps(pilot):
        await pilot.press("p", "2", "p", "d")
        await pilot.press("a")
        first, second = bench.screen.names[:2]
        both = {End("drop", first), End("drop", second), SOURCE}
        await shows(pilot, lambda: silent.looked and both <= set(silent.looked[0]))

    drive(bench, steps)
