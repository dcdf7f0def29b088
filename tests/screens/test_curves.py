"""Curves as they are drawn with characters, read back from the screen."""

import math

import numpy as np
import pytest
from auralize_tui.curves import CurvePanel, column_at, columns_of, draw, nice_range

from support.bench_app import drive, edit
from support.rig_text import amplifier, load, run, text

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
LENGTH, OHM, HENRY, LOAD = 62.0, 16e-3, 1e-6, 8.0
"""m; ohm/m and H/m there and back; ohm: the rig below, whose curves have a closed form."""
MEASURED = f"""
[cables.reel]
construction = "measured"
resistance = "{OHM * 1e3} mohm/m"
inductance = "{HENRY * 1e6} uH/m"
"""
RIG = text('title = "A run"', amplifier(), MEASURED, run(length=f'"{LENGTH} m"'), load())
LOUDER = '[choices.a]\nlabel = "a"\n[choices.b]\nlabel = "b"\nruns.pond.length = "6 m"\n'


def loss(frequency, length=LENGTH):
    """dB, by the divider of load and cable."""
    return -20 * np.log10(np.abs(1 + cable(frequency, length) / LOAD))


def drop(frequency, length=LENGTH):
    """dB: what the cable keeps of the sending end."""
    ratio = cable(frequency, length) / (LOAD + cable(frequency, length))
    return 20 * np.log10(np.abs(ratio))


def cable(frequency, length):
    return length * (OHM + 2j * math.pi * frequency * HENRY)


class Drawing:
    """The panel of curves, taken apart as somebody reads it."""

    def __init__(self, app):
        self.title, *lines = app.screen.query_one(CurvePanel).render().plain.splitlines()
        self.rows = [line[6:] for line in lines if line[5:6] == "|" and "prog" not in line]
        self.scale = {
            number: float(line[:5]) for number, line in enumerate(lines) if _is_figure(line[:5])
        }
        self.programme = next((line[6:] for line in lines if line.startswith(" prog|")), None)
        self.width = len(self.rows[0])

    def level(self, mark, column):
        """dB at which a mark stands in a column; None where it does not."""
        (top, high), (bottom, low) = min(self.scale.items()), max(self.scale.items())
        found = [n for n, row in enumerate(self.rows) if row[column] == mark]
        if not found:
            return None
        (row,) = found  # a curve is one mark high
        return high + (row - top) / (bottom - top) * (low - high)

    @property
    def half_a_row(self):
        return (max(self.scale.values()) - min(self.scale.values())) / (len(self.rows) - 1) / 2


def _is_figure(cell):
    return cell.strip()[:1] in ("+", "-") and cell.strip()[1:].replace(".", "").isdigit()


def frequency_of(column, width):
    """Hz at the middle of a column: three decades from 20 Hz."""
    return 20.0 * 1000.0 ** ((column + 0.5) / width)


@pytest.mark.parametrize(
    ("keys", "title", "expected"),
    [
        ([], "loss from the amplifier's terminals, dB", loss),
        (["v"], "drop, dB re sending end", drop),
        (["v", "v"], "loss from the amplifier's terminals, dB", loss),
    ],
)
@pytest.mark.parametrize("size", [(80, 24), (132, 50)])
def test_what_is_drawn_is_the_closed_form(opened, keys, title, expected, size):
    """To half a row, which is all that a character can show, and 5 % of it for lines between points."""
    app = opened(RIG)

    async def steps(pilot):
        await pilot.press(*keys)
        await pilot.pause()
        drawing = Drawing(app)
        assert drawing.title == title
        for column in range(drawing.width):
            level = expected(frequency_of(column, drawing.width))
            assert drawing.level("1", column) == pytest.approx(level, abs=1.05 * drawing.half_a_row)

    drive(app, steps, size)


def test_each_choice_has_its_own_curve_and_an_edit_moves_it(opened):
    app = opened(RIG + LOUDER)

    async def steps(pilot):
        drawing = Drawing(app)
        column = drawing.width // 2
        for mark, length in (("1", LENGTH), ("2", 6.0)):
            level = loss(frequency_of(column, drawing.width), length)
            assert drawing.level(mark, column) == pytest.approx(
                level, abs=1.05 * drawing.half_a_row
            )
        await edit(pilot, app, "pond: length", "200 m")
        drawing = Drawing(app)
        level = loss(frequency_of(column, drawing.width), 200.0)
        assert drawing.level("1", column) == pytest.approx(level, abs=1.05 * drawing.half_a_row)

    drive(app, steps)


def test_the_chosen_curve_lies_over_the_others_and_stands_out(opened):
    app = opened(RIG + '[choices.a]\nlabel = "a"\n[choices.b]\nlabel = "b"\n')  # the same twice

    async def steps(pilot):
        for key, other in (("2", "1"), ("1", "2")):
            await pilot.press(key)
            await pilot.pause()
            drawing = Drawing(app)
            shown = "".join(drawing.rows)
            assert key in shown
            assert other not in shown
            text = app.screen.query_one(CurvePanel).render()
            bold = {
                text.plain[span.start : span.end]
                for span in text.spans
                if span.style == "bold reverse"
            }
            assert bold == {key}

    drive(app, steps)


def test_the_programme_stands_under_the_frequencies_that_it_has(app):
    """A tone of 440 Hz lies in the third octave round 400 Hz, IEC 61260-1; nothing else is there."""

    async def steps(pilot):
        drawing = Drawing(app)
        at = column_at(400.0, drawing.width)
        full = [n for n, bar in enumerate(drawing.programme) if bar == "█"]
        assert full
        assert all(abs(n - at) <= 1 for n in full)
        octave = math.log(2.0) / math.log(1000.0) * drawing.width
        for column, bar in enumerate(drawing.programme):
            if abs(column - at) > octave:
                assert bar == " "

    drive(app, steps)


def test_a_programme_that_cannot_be_read_is_told_and_the_curves_are_drawn(app):
    app.source.write_text("no sound")

    async def steps(pilot):
        await pilot.pause()
        drawing = Drawing(app)
        assert drawing.programme is None
        assert drawing.level("1", 20) is not None
        assert str(app.source) in str(app.screen.query_one("#message").render())

    drive(app, steps)


@pytest.mark.parametrize(
    ("fault", "keys"),
    [('type = "short"\nnominal = "8 ohm"', []), ('type = "open"\nnominal = "8 ohm"', ["v"])],
    ids=["nothing arrives", "no cable keeps any"],
)
def test_where_there_is_no_level_there_is_no_curve(opened, fault, keys):
    app = opened(text('title = "A run"', amplifier(), MEASURED, run(), f"[loads.stage]\n{fault}\n"))

    async def steps(pilot):
        await pilot.press(*keys)
        await pilot.pause()
        drawing = Drawing(app)
        assert not "".join(drawing.rows).strip()
        assert set(drawing.scale.values()) == {-1.0, -0.5, 0.0}

    drive(app, steps)


def test_the_frequency_axis_is_logarithmic():
    columns = columns_of(60)
    assert np.allclose(np.diff(np.log(columns)), np.log(1000) / 60)
    assert columns[0] == pytest.approx(frequency_of(0, 60))
    assert column_at(20, 60) == 0
    assert column_at(20_000, 60) == 59
    assert column_at(632.0, 60) == 29  # the middle of 20 Hz to 20 kHz is 632.5 Hz
    assert column_at(633.0, 60) == 30


def test_the_marks_of_the_axis_stand_at_their_frequencies():
    axis = draw({"1": np.zeros(60)}, "1", None, 66, 12)[-1]
    for frequency, mark in ((50.0, "50"), (200.0, "200"), (1e3, "1k"), (5e3, "5k")):
        assert axis.index(mark, 6) == 6 + column_at(frequency, 60)
    assert axis.rstrip().endswith("20k")
    assert axis.startswith("Hz")


def test_a_curve_is_drawn_where_it_is():
    levels = np.linspace(-6.0, 0.0, 54)
    lines = draw({"1": levels}, "1", None, 60, 14)
    assert len(lines) == 14
    assert lines[0].rstrip().endswith("1")  # 0 dB is top right
    assert lines[-3][6] == "1"  # -6 dB is bottom left
    scale = {number: line[:6] for number, line in enumerate(lines) if line[:5].strip()}
    assert scale == {0: " +0.0|", 6: " -3.0|", 11: " -6.0|", 13: "Hz    "}
    assert max(len(line) for line in lines) <= 60


@pytest.mark.parametrize(
    ("levels", "ends"),
    [
        ([-0.2, -0.1], (-0.5, 0.5)),  # at least 1 dB apart
        ([-6.4, -0.6], (-6.5, -0.5)),
        ([-6.0, 0.0], (-6.0, 0.0)),
        ([-math.inf, -3.2], (-3.5, -2.5)),
        ([-math.inf], (-1.0, 0.0)),
    ],
)
def test_the_scale_holds_all_levels_on_half_decibels(levels, ends):
    assert nice_range([np.array(levels)]) == ends


def test_bars_are_in_steps_of_a_seventh_of_48_db():
    spectrum = np.array([0.0, -24.0, -48.0, -60.0, -math.inf])
    bars = draw({"1": np.zeros(20)}, "1", spectrum, 26, 12)[-3]
    assert bars.startswith(" prog|█▄   ")


def test_a_silent_programme_has_no_bars():
    lines = draw({"1": np.zeros(20)}, "1", np.full(20, -math.inf), 26, 12)
    assert lines[-3] == " prog|" + " " * 20
    assert len(lines) == 12


@pytest.mark.parametrize(
    ("width", "height", "drawn"), [(16, 7, True), (15, 7, False), (16, 6, False)]
)
def test_in_a_panel_that_is_too_small_the_title_stands_alone(app, width, height, drawn):
    async def steps(pilot):
        panel = app.screen.query_one(CurvePanel)
        panel.styles.width, panel.styles.height = width, height
        await pilot.pause()
        text = panel.render().plain
        assert (text != "loss from the amplifier's terminals, dB") == drawn
        assert ("|" in text) == drawn
        assert len(text.splitlines()) <= height

    drive(app, steps)
