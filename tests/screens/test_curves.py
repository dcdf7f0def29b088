"""Curves as they are drawn with characters, read back from the screen."""

import math
import re
import time

import numpy as np
import pytest
from auralize_tui.colours import DARK, LIGHT, NONE
from auralize_tui.curve_view import CurveLine, Frame, apart, nice_range, picture
from auralize_tui.curves import CurvePanel

from auralize.figures.numbers import figures
from support.bench_app import drive, edit
from support.drawing import SCALE, Drawing
from support.rig_text import amplifier, driver, load, run, text

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
SHORTER = '[choices.a]\nlabel = "a"\n[choices.b]\nlabel = "b"\nruns.pond.length = "6 m"\n'
LOSS = "loss from the amplifier's terminals, dB"
COIL = """
[choices.straight]
[choices.coiled.runs.pond]
cable = "twin"
lay.shape = "coiled"
lay.mean_diameter = "40 cm"
lay.coiled = "50 m"
[cables.twin]
construction = "twin"
conductor = "2.5 mm2"
"""


def loss(frequency, length=LENGTH):
    """dB, by the divider of load and cable."""
    return -20 * np.log10(np.abs(1 + cable(frequency, length) / LOAD))


def drop(frequency, length=LENGTH):
    """dB: what the cable keeps of the sending end."""
    ratio = cable(frequency, length) / (LOAD + cable(frequency, length))
    return 20 * np.log10(np.abs(ratio))


def cable(frequency, length):
    return length * (OHM + 2j * math.pi * frequency * HENRY)


def many(count):
    """So many choices, each 5 m longer than the one before."""
    return "".join(
        f'[choices.c{n}]\nlabel = "c"\nruns.pond.length = "{5 * n} m"\n'
        for n in range(1, count + 1)
    )


def pin(app, *names):
    """As the screen does it: the panel is shown again with these pinned."""
    screen = app.screen
    screen.query_one(CurvePanel).show(
        app.draft.rig.choices, screen.curves, screen.chosen, screen.signal, screen.across, names
    )


@pytest.mark.parametrize(
    ("keys", "title", "expected"),
    [
        ([], LOSS, loss),
        (["d"], "drop, dB re sending end", drop),  # of what is heard
        (["d", "s"], LOSS, loss),
        (["d", "v"], LOSS, loss),
        (["v"], LOSS, loss),
        (["v", "v"], "drop, dB re sending end", drop),
        (["v", "v", "v", "d"], "drop, dB re sending end", drop),  # round once
        (["v", "v", "v"], LOSS, loss),
    ],
)
@pytest.mark.parametrize("size", [(80, 24), (132, 50)])
def test_what_is_drawn_is_the_closed_form(opened, keys, title, expected, size):
    app = opened(RIG)

    async def steps(pilot):
        await pilot.press(*keys)
        await pilot.pause()
        drawing = Drawing(app)
        assert drawing.title == title
        curve = expected(drawing.hertz())
        assert drawing.holds(curve)
        assert drawing.holds_nothing_but(curve)

    drive(app, steps, size)


@pytest.mark.parametrize("size", [(76, 21), (80, 24), (200, 60)])
def test_each_choice_has_its_own_curve_and_an_edit_moves_it(opened, size):
    app = opened(RIG + SHORTER)

    async def steps(pilot):
        drawing = Drawing(app)
        curves = [loss(drawing.hertz(), length) for length in (LENGTH, 6.0)]
        assert all(map(drawing.holds, curves))
        assert drawing.holds_nothing_but(*curves)
        assert sorted(drawing.names.values()) == ["1 a", "2 b"]
        await edit(pilot, app, "pond: length", "200 m")
        drawing = Drawing(app)
        assert drawing.holds(loss(drawing.hertz(), 200.0))
        assert not drawing.holds(loss(drawing.hertz(), LENGTH))

    drive(app, steps, size)


@pytest.mark.parametrize("size", [(76, 21), (132, 50)])
def test_marks_and_names_tell_curves_apart_without_any_colour(opened, size):
    """A mark of each stands on its own curve, and its name in the row where that ends."""
    app = opened(RIG + SHORTER)

    async def steps(pilot):
        drawing = Drawing(app)
        levels, hertz = drawing.levels(), drawing.hertz()
        for mark, length in (("1", LENGTH), ("2", 6.0)):
            assert drawing.marks()[mark]
            for row, column in drawing.marks()[mark]:
                level = loss(hertz[2 * column : 2 * column + 2], length).mean()
                cell = levels[4 * row : 4 * row + 4]
                assert cell[-1] - 2 * drawing.dot() <= level <= cell[0] + 2 * drawing.dot()
        rows = {name[0]: row for row, name in drawing.names.items()}
        for mark, length in (("1", LENGTH), ("2", 6.0)):
            end = int(np.argmin(np.abs(levels - loss(20e3, length)))) // 4
            assert abs(rows[mark] - end) <= 1  # they may have made room for each other

    drive(app, steps, size)


def test_the_chosen_curve_lies_over_the_others_and_stands_out(opened):
    app = opened(RIG + '[choices.a]\nlabel = "a"\n[choices.b]\nlabel = "b"\n')  # the same twice

    async def steps(pilot):
        for key, name in (("2", "b"), ("1", "a")):
            await pilot.press(key)
            await pilot.pause()
            drawing = Drawing(app)
            cells = {
                style
                for signs, styles in zip(drawing.signs, drawing.styles, strict=True)
                for sign, style in zip(signs, styles, strict=True)
                if sign != " " and not sign.isalnum() and style != DARK.muted
            }
            assert cells == {f"bold {DARK.curves[int(key) - 1]}"}  # the other is under it
            panel = app.screen.query_one(CurvePanel).render()
            reverse = {
                panel.plain[s.start : s.end].strip() for s in panel.spans if s.style == "reverse"
            }
            assert reverse == {f"{key} {name}"}

    drive(app, steps)


def test_of_many_choices_the_chosen_and_the_pinned_have_curves(opened):
    app = opened(RIG + many(12))

    async def steps(pilot):
        assert list(Drawing(app).names.values()) == ["1 c1"]
        await pilot.press("4")
        pin(app, "c2", "c11")
        drawing = Drawing(app)
        assert sorted(drawing.names.values()) == ["2 c2", "4 c4", "b=11 c11"]
        curves = [loss(drawing.hertz(), length) for length in (10.0, 20.0, 55.0)]
        assert all(map(drawing.holds, curves))
        assert drawing.holds_nothing_but(*curves)
        assert set(drawing.marks()) == {"2", "4", "b"}

    drive(app, steps, (132, 50))


def test_three_choices_are_all_shown_and_of_four_the_chosen(opened):
    for count, shown in ((3, ["1 c1", "2 c2", "3 c3"]), (4, ["1 c1"])):
        app = opened(RIG + many(count))

        async def steps(pilot, app=app, shown=shown):
            assert sorted(Drawing(app).names.values()) == shown

        drive(app, steps)


@pytest.mark.parametrize("signal", ["r", "d"])
def test_the_difference_to_the_pinned_choice_is_that_of_what_is_heard(opened, signal):
    """By the responses of the two: re the amplifier's own source, in which they share all."""
    app = opened(RIG + SHORTER)

    async def steps(pilot):
        await pilot.press(signal)
        pin(app, "b")
        app.screen.query_one(CurvePanel).turn()
        app.screen.query_one(CurvePanel).turn()
        app.screen.query_one(CurvePanel).turn()
        await pilot.pause()
        drawing = Drawing(app)
        assert drawing.title == f"{'what arrives' if signal == 'r' else 'drop'}, dB over b"
        heard = "receiving" if signal == "r" else "drop"
        a, b = (
            np.abs(app.draft.rig.choices[name].response(drawing.hertz(), heard)) for name in "ab"
        )
        difference = 20 * np.log10(a / b)
        assert drawing.holds(difference)
        assert drawing.holds_nothing_but(difference, np.zeros(2 * drawing.width))
        pin(app)  # without a pinned choice there is none
        assert Drawing(app).title == (LOSS if signal == "r" else "drop, dB re sending end")

    drive(app, steps)


def test_a_difference_is_at_the_loudspeaker_at_which_the_choice_is_heard(opened):
    """As a picture of `auralize plot --against` has it."""
    app = opened(
        text(
            'title = "Two"\nlisten = "stage"',
            amplifier(),
            MEASURED,
            run(),
            load() + driver().replace("stage", "wings"),
            SHORTER.replace('label = "b"', 'label = "b"\nlisten = "wings"'),
        )
    )

    async def steps(pilot):
        pin(app, "a")
        panel = app.screen.query_one(CurvePanel)
        for _ in range(3):
            panel.turn()
        (line,) = [line for line in panel.lines() if line.name == "b"]
        choices = app.draft.rig.choices
        b, a = choices["b"], choices["a"].at("wings")
        ratio = np.abs(b.response(line.hertz) / a.response(line.hertz))
        np.testing.assert_allclose(line.levels, 20 * np.log10(ratio), rtol=1e-9, atol=1e-9)

    drive(app, steps)


# ---- zoom and cursor -------------------------------------------------------------------------------


def test_zoom_shows_two_octaves_round_the_cursor_and_fits_the_levels(opened):
    app = opened(RIG)

    async def steps(pilot):
        whole = Drawing(app).dot()
        await pilot.press("greater_than_sign", "z")
        await pilot.pause()
        drawing = Drawing(app)
        curve = loss(drawing.hertz(500.0, 2000.0))
        assert drawing.holds(curve)
        assert drawing.holds_nothing_but(curve)
        assert drawing.dot() < whole / 2
        assert "1k" in drawing.axis.split()
        await pilot.press("z")
        await pilot.pause()
        assert Drawing(app).holds(loss(Drawing(app).hertz()))

    drive(app, steps)


def test_zoom_stays_on_the_axis_and_follows_the_cursor(opened):
    app = opened(RIG)

    async def steps(pilot):
        panel = app.screen.query_one(CurvePanel)
        await pilot.press("less_than_sign", *["less_than_sign"] * 30, "z")
        assert panel._frame.low == pytest.approx(20.0)
        assert panel._frame.high == pytest.approx(80.0)
        for _ in range(60):
            await pilot.press("greater_than_sign")
            assert panel._frame.low <= panel._frame.cursor <= panel._frame.high
            assert panel._frame.high / panel._frame.low == pytest.approx(4.0)
        drawing = Drawing(app)
        assert drawing.holds(loss(drawing.hertz(panel._frame.low, panel._frame.high)))

    drive(app, steps)


def test_the_cursor_reads_what_figures_say(opened):
    """Of the same frequency, to the two decimals that are shown."""
    app = opened(RIG + SHORTER)

    async def steps(pilot):
        assert Drawing(app).reading is None  # not before it is moved
        for keys in (["less_than_sign"], ["less_than_sign"] * 7, ["greater_than_sign"] * 20):
            await pilot.press(*keys)
            for name in ("loss_db", "drop_db"):
                reading = Drawing(app).reading
                hertz = float(reading.split()[0]) * (1e3 if reading.split()[1] == "kHz" else 1.0)
                read = dict(re.findall(r"([ab12]) ([+-]\d+\.\d\d)", reading))
                assert set(read) == {"1", "2"}
                for mark, choice in zip("12", app.draft.rig.choices.values(), strict=True):
                    (line,) = figures(choice, (hertz,)).lines
                    assert float(read[mark]) == pytest.approx(getattr(line, name), abs=0.0051)
                await pilot.press("v", *["v"] * (name == "loss_db"))

    drive(app, steps)


def test_the_cursor_appears_at_1_khz_stands_there_and_is_gone_beyond_the_ends(opened):
    app = opened(RIG)

    async def steps(pilot):
        await pilot.press("greater_than_sign")
        await pilot.pause()
        drawing = Drawing(app)
        assert drawing.reading.startswith("1 kHz  1 ")
        column = int(np.log(50.0) / np.log(1000.0) * 2 * drawing.width)
        lit = drawing.dots(DARK.plain).any(axis=0)
        assert list(np.flatnonzero(lit)) == [column]
        await pilot.press(*["greater_than_sign"] * 40)
        assert Drawing(app).reading is None or app.screen.query_one(CurvePanel)._frame.cursor
        panel = app.screen.query_one(CurvePanel)
        panel._frame = Frame(cursor=19_900.0)
        panel.move_cursor(1)
        assert Drawing(app).reading is None

    drive(app, steps)


# ---- what a lay leaves open ------------------------------------------------------------------------


async def found(pilot, panel):
    """Wait for the ranges of what is shown."""
    deadline = time.monotonic() + 60.0
    await pilot.pause()
    while panel._ranges.searching:
        assert time.monotonic() < deadline
        await pilot.pause(0.05)


def test_the_range_of_a_lay_is_a_band_round_its_curve(opened):
    app = opened(RIG + COIL)

    async def steps(pilot):
        await pilot.press("2")
        panel = app.screen.query_one(CurvePanel)
        await found(pilot, panel)
        (line,) = [line for line in panel.lines() if line.name == "coiled"]
        assert np.all(line.low <= line.levels)
        assert np.all(line.levels <= line.high)
        assert (line.high - line.low)[-1] > 0.1  # dB: there is something to be seen
        (other,) = [line for line in panel.lines() if line.name == "straight"]
        assert other.low is None
        await pilot.pause()
        drawing = Drawing(app)
        assert drawing.title == f"{LOSS}; dotted: what the lay leaves open"
        levels, muted = drawing.levels(), drawing.dots(DARK.muted)
        hertz = drawing.hertz()
        low, high = (np.interp(np.log(hertz), np.log(line.hertz), v) for v in (line.low, line.high))
        inside = (levels[:, None] < high) & (levels[:, None] > low)
        # A fourth of the dots, where no curve covers the band: far denser than a grid.
        free = inside & ~np.repeat(
            np.repeat(drawing.curves().reshape(-1, 4, drawing.width, 2).any((1, 3)), 4, 0), 2, 1
        )
        assert muted[free].mean() > 0.15
        assert not muted[~inside].mean() > 0.1

    drive(app, steps, (132, 50))


def test_an_edit_of_the_lay_does_away_with_the_old_range(opened):
    app = opened(RIG + COIL)

    async def steps(pilot):
        await pilot.press("2")
        panel = app.screen.query_one(CurvePanel)
        await found(pilot, panel)
        held = panel.lines()[1].low
        assert held is not None
        await edit(pilot, app, "pond: length", "58 m")
        now = panel.lines()[1].low
        assert now is None or not np.array_equal(now, held)
        await found(pilot, panel)
        assert not np.array_equal(panel.lines()[1].low, held)
        assert np.all(panel.lines()[1].low <= panel.lines()[1].levels)

    drive(app, steps)


# ---- the programme ---------------------------------------------------------------------------------


def test_the_programme_stands_under_the_frequencies_that_it_has(app):
    """A tone of 440 Hz lies in the third octave round 400 Hz, IEC 61260-1; nothing else is there."""

    async def steps(pilot):
        drawing = Drawing(app)
        at = int(math.log(20.0) / math.log(1000.0) * drawing.width)
        loudest = max(drawing.programme, key=" ▁▂▃▄▅▆▇█".index)
        assert loudest in "▆▇█"  # a column may lie a little beside the middle of the band
        assert abs(drawing.programme.index(loudest) - at) <= 1
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
        assert drawing.curves().any()
        told = str(app.screen.query_one("#message").render()).replace("\n", "")
        assert str(app.source) in told

    drive(app, steps)


@pytest.mark.parametrize(
    ("fault", "keys"),
    [
        ('type = "short"\nnominal = "8 ohm"', []),
        ('type = "open"\nnominal = "8 ohm"', ["v", "v"]),
    ],
    ids=["nothing arrives", "no cable keeps any"],
)
def test_where_there_is_no_level_there_is_no_curve(opened, fault, keys):
    app = opened(text('title = "A run"', amplifier(), MEASURED, run(), f"[loads.stage]\n{fault}\n"))

    async def steps(pilot):
        await pilot.press(*keys, "greater_than_sign")
        await pilot.pause()
        drawing = Drawing(app)
        assert not drawing.curves().any()
        assert not drawing.names
        assert {-1.0, 0.0} <= set(drawing.labels.values())
        assert drawing.reading == "1 kHz  1 none"

    drive(app, steps)


# ---- the picture by itself -------------------------------------------------------------------------


def flat(level, number=1, **more):
    hertz = np.geomspace(20.0, 20e3, 601)
    return CurveLine(number, f"choice{number}", hertz, np.full(601, level), **more)


@pytest.mark.parametrize("height", range(6, 60))
@pytest.mark.parametrize("dots", ["braille", "plain"])
def test_a_label_stands_beside_a_curve_of_its_value_whatever_the_number_of_rows(height, dots):
    ends = [flat(-6.0, 2), flat(0.0, 3)]
    scale = [row.plain[:SCALE] for row in picture(ends, None, (60, height), dots=dots)]
    labels = {float(cell[:5]): n for n, cell in enumerate(scale) if cell[5:] in ("┤", "+")}
    assert len(labels) >= 2
    for level, row in labels.items():
        shown = picture([*ends, flat(level)], None, (60, height), dots=dots)
        assert "1" in shown[row].plain[SCALE:]


@pytest.mark.parametrize("size", [(16, 7), (44, 9), (90, 20), (164, 45)])
@pytest.mark.parametrize("dots", ["braille", "blocks", "plain"])
def test_the_picture_fills_what_it_is_given_and_no_more(size, dots):
    lines = [flat(-3.0 + 0.01 * n, n, chosen=n == 2) for n in (1, 2, 3)]
    spectrum = (np.array([100.0, 1e3]), np.array([-10.0, 0.0]))
    for shown in (None, spectrum):
        rows = picture(lines, shown, size, Frame(cursor=500.0), dots)
        assert len(rows) == size[1]
        assert max(len(row.plain) for row in rows) <= size[0]
        if dots == "plain":
            assert all(row.plain.isascii() for row in rows)


def test_without_colour_no_style_is_one():
    lines = [flat(-3.0, n, chosen=n == 2) for n in (1, 2, 3)]
    spectrum = (np.array([100.0, 1e3]), np.array([-10.0, 0.0]))
    rows = picture(lines, spectrum, (80, 20), Frame(cursor=500.0), colours=NONE)
    assert {str(span.style) for row in rows for span in row.spans} <= {"", "bold", "reverse"}


def test_names_that_end_together_stand_below_each_other_in_order():
    assert apart([3, 3, 3], 9) == [3, 4, 5]
    assert apart([7, 8, 8], 9) == [6, 7, 8]
    assert apart([0, 4, 4], 9) == [0, 4, 5]
    assert apart([0, 0, 0, 0], 3) == [0, 1, 2]


@pytest.mark.parametrize(
    ("levels", "least", "ends"),
    [
        ([-0.2, -0.1], 1.0, (-0.5, 0.5)),  # at least 1 dB apart
        ([-6.4, -0.6], 1.0, (-6.5, -0.5)),
        ([-6.0, 0.0], 1.0, (-6.0, 0.0)),
        ([-math.inf, -3.2], 1.0, (-3.5, -2.5)),
        ([-math.inf], 1.0, (-1.0, 0.0)),
        ([-1.41, -1.33], 0.2, (-1.5, -1.3)),
    ],
)
def test_the_scale_holds_all_levels_on_halves_of_what_it_spans_at_least(levels, least, ends):
    assert nice_range([np.array(levels)], least) == pytest.approx(ends)


def test_bars_are_in_steps_of_an_eighth_of_48_db():
    hertz = np.geomspace(20.0, 20e3, 21)[:-1] * 1000.0 ** (1 / 40)  # the middles of 20 columns
    levels = np.full(20, -math.inf)
    levels[:4] = [0.0, -24.0, -48.0, -60.0]
    for dots, bars in (("braille", "█▄  "), ("plain", "@=  ")):
        line = picture([], (hertz, levels), (SCALE + 20, 12), dots=dots)[-2].plain
        assert line[SCALE:] == bars + " " * 16


def test_a_silent_programme_has_no_bars():
    silent = (np.array([100.0, 1e3]), np.full(2, -math.inf))
    rows = picture([flat(-3.0)], silent, (60, 12))
    assert rows[-2].plain.rstrip() == " prog│"
    assert len(rows) == 12


@pytest.mark.parametrize(
    ("width", "height", "drawn"), [(16, 7, True), (15, 7, False), (16, 6, False)]
)
def test_in_a_panel_that_is_too_small_the_title_stands_alone(app, width, height, drawn):
    async def steps(pilot):
        panel = app.screen.query_one(CurvePanel)
        panel.styles.width, panel.styles.height = width, height
        await pilot.pause()
        text = panel.render().plain
        assert (text != LOSS) == drawn
        assert ("│" in text) == drawn
        assert len(text.splitlines()) <= height

    drive(app, steps)


def _luminance(colour):
    """Relative luminance of sRGB, as WCAG 2.1 defines it."""
    parts = [int(colour[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


@pytest.mark.parametrize(("colours", "ground"), [(DARK, "#1e1e1e"), (LIGHT, "#e0e0e0")])
def test_curves_stand_off_their_ground_by_three_to_one(colours, ground):
    """WCAG 2.1, 1.4.11: 3 : 1 for graphics (value from memory)."""
    for colour in colours.curves:
        bright, dark = sorted((_luminance(colour), _luminance(ground)), reverse=True)
        assert (bright + 0.05) / (dark + 0.05) >= 3.0
