"""The canvas, read back dot by dot; braille as Unicode numbers its patterns (from memory)."""

import numpy as np
import pytest
from auralize_tui.canvas import Canvas, Scale, axis_below, dots_of, level_words

from support.drawing import dots_of_cell

HERTZ = Scale(20.0, 20e3, logarithmic=True)
FINENESS = {"braille": (4, 2), "blocks": (2, 1), "plain": (1, 1)}
BLOCKS = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}


def dots(canvas):
    """What is drawn, as an array of dots."""
    down, across = FINENESS[canvas.dots]
    shown = np.zeros((canvas.height * down, canvas.width * across), dtype=bool)
    for row, line in enumerate(canvas.rows()):
        assert len(line.plain) == canvas.width
        for column, sign in enumerate(line.plain):
            if canvas.dots == "braille":
                cell = dots_of_cell(sign)
                assert cell is not None
                shown[row * 4 : row * 4 + 4, column * 2 : column * 2 + 2] = cell
            elif canvas.dots == "blocks":
                shown[row * 2 : row * 2 + 2, column] = BLOCKS[sign]
            elif canvas.dots == "plain":
                shown[row, column] = sign != " "
    return shown


def level_of(canvas, row):
    """What stands at the middle of a row of dots: the ends of the scale at the first and the last."""
    rows = canvas.height * FINENESS[canvas.dots][0]
    return canvas.y.high - row / (rows - 1) * (canvas.y.high - canvas.y.low)


@pytest.mark.parametrize("kind", FINENESS)
@pytest.mark.parametrize("size", [(60, 12), (61, 13), (21, 5), (100, 30)])
def test_a_line_lies_within_half_a_dot_of_its_values_and_holds_together(kind, size):
    canvas = Canvas(*size, HERTZ, Scale(-12.0, 3.0), kind)
    hertz = np.geomspace(20.0, 20e3, 2000)
    level = -5.0 + 6.0 * np.sin(3.0 * np.log(hertz)) * np.linspace(0.0, 1.0, 2000)
    canvas.line(hertz, level, "red")
    shown = dots(canvas)
    half = (level_of(canvas, 0) - level_of(canvas, 1)) / 2.0
    middles = 20.0 * 1000.0 ** ((np.arange(shown.shape[1]) + 0.5) / shown.shape[1])
    expected = -5.0 + 6.0 * np.sin(3.0 * np.log(middles)) * np.log(middles / 20.0) / np.log(1000.0)
    for column, value in enumerate(expected):
        (rows,) = np.nonzero(shown[:, column])
        assert np.all(np.diff(rows) == 1)
        assert level_of(canvas, rows[-1]) - 1.02 * half <= value
        assert value <= level_of(canvas, rows[0]) + 1.02 * half
        if column:
            (before,) = np.nonzero(shown[:, column - 1])
            assert rows[0] <= before[-1] + 1  # no hole between two columns
            assert before[0] <= rows[-1] + 1


def test_a_flat_line_is_one_dot_high_at_its_value():
    for kind, (down, _) in FINENESS.items():
        for rows in range(3, 30):
            canvas = Canvas(10, rows, HERTZ, Scale(-6.0, 0.0), kind)
            canvas.line([20.0, 20e3], [-2.0, -2.0], "red")
            (lit,) = np.nonzero(dots(canvas).any(axis=1))
            assert list(lit) == [np.rint((rows * down - 1) / 3.0)]
            assert canvas.row_of(-2.0) == lit[0] // down


def test_where_there_is_no_value_there_is_no_dot():
    canvas = Canvas(40, 6, Scale(0.0, 40.0), Scale(-6.0, 0.0))
    canvas.line([0, 10, 20, 30, 40], [-3, -3, -np.inf, -3, np.nan], "red")
    lit = dots(canvas).any(axis=0)
    assert lit[:20].all()
    assert not lit[20:].any()  # every straight line there ends in no value
    canvas.line([10, 20], [5.0, 5.0], "red")  # above the scale
    assert not dots(canvas).any(axis=0)[20:].any()


def test_the_cell_has_the_style_of_the_last_line_and_the_dots_of_all():
    canvas = Canvas(8, 4, Scale(0.0, 1.0), Scale(0.0, 1.0))
    canvas.grid([], [0.5], "dim")
    canvas.line([0.0, 1.0], [0.0, 0.0], "red")
    canvas.line([0.0, 1.0], [0.08, 0.08], "blue")
    foot = canvas.rows()[3]
    assert {str(span.style) for span in foot.spans} == {"blue"}
    assert set(foot.plain) == {chr(0x2800 + 0b11100100)}  # both rows of dots, in one cell
    assert {str(span.style) for span in canvas.rows()[2].spans} == {"dim"}


def test_the_ground_is_covered_by_lines_not_joined():
    canvas = Canvas(8, 4, Scale(0.0, 1.0), Scale(0.0, 1.0))
    canvas.band([0.0, 1.0], [0.0, 0.0], [1.0, 1.0], "dim")
    assert dots(canvas).mean() == pytest.approx(0.25)
    canvas.line([0.0, 1.0], [1.0, 1.0], "red")
    assert dots(canvas)[0].all()
    assert not dots(canvas)[1:4].any()
    assert dots(canvas)[4:].any()


def test_bars_reach_from_the_foot_to_their_level():
    for kind in FINENESS:
        canvas = Canvas(30, 9, Scale(0.0, 3.0), Scale(-60.0, 0.0), kind)
        canvas.bars([0.0, 1.0, 2.0, 3.0], [0.0, -30.0, -np.inf], "red")
        shown = dots(canvas)
        third = shown.shape[1] // 3
        assert shown[:, :third].all()
        assert shown[-1, third : 2 * third].all()
        assert shown[:, third : 2 * third].mean() == pytest.approx(0.5, abs=0.1)
        assert not shown[:, 2 * third :].any()


@pytest.mark.parametrize(("kind", "sign"), [("blocks", "░│·"), ("plain", ":|.")])
def test_coarse_grounds_have_a_sign_each(kind, sign):
    canvas = Canvas(30, 9, Scale(0.0, 3.0), Scale(-60.0, 0.0), kind)
    canvas.grid([1.0], [-30.0], "")
    canvas.band([2.0, 3.0], [-40.0, -40.0], [-20.0, -20.0], "")
    canvas.cursor(0.5, "")
    assert set("".join(row.plain for row in canvas.rows())) == {*sign, " "}
    assert all(row.plain[5] == sign[1] for row in canvas.rows())


def test_marks_stand_on_the_line_and_are_the_line_where_there_are_no_dots():
    for kind in ("braille", "blocks"):
        canvas = Canvas(64, 9, HERTZ, Scale(-6.0, 0.0), kind)
        canvas.line([20.0, 20e3], [-3.0, -3.0], "red", "2", phase=5)
        line = canvas.rows()[canvas.row_of(-3.0)].plain
        assert [n for n, sign in enumerate(line) if sign == "2"] == [5, 21, 37, 53]
    plain = Canvas(64, 9, HERTZ, Scale(-6.0, 0.0), "plain")
    plain.line([20.0, 20e3], [-3.0, -3.0], "red", "2", phase=5)
    assert plain.rows()[4].plain == "2" * 64


def test_words_are_cut_at_the_edges():
    canvas = Canvas(6, 3, HERTZ, Scale(-6.0, 0.0))
    canvas.text(-2, 1, "abcdefghij")
    canvas.text(4, 0, "xyz")
    canvas.text(0, 3, "below")
    assert [row.plain for row in canvas.rows()] == ["    xy", "cdefgh", "      "]


@pytest.mark.parametrize("rows", range(3, 40))
@pytest.mark.parametrize("kind", FINENESS)
def test_a_label_stands_in_the_row_in_which_its_value_is_drawn(kind, rows):
    for low, high in ((-6.0, 0.0), (-0.7, 0.4), (-43.0, -3.0)):
        canvas = Canvas(10, rows, HERTZ, Scale(low, high), kind)
        for tick in canvas.y.ticks(max(2, rows // 2)):
            drawn = Canvas(10, rows, HERTZ, Scale(low, high), kind)
            drawn.line([20.0, 20e3], [tick, tick], "")
            (found,) = [n for n, row in enumerate(drawn.rows()) if row.plain.strip()]
            assert canvas.row_of(tick) == found


@pytest.mark.parametrize(
    ("scale", "most", "ticks"),
    [
        (Scale(-6.0, 0.0), 4, [-6.0, -4.0, -2.0, 0.0]),
        (Scale(-6.0, 0.0), 3, [-5.0, 0.0]),
        (Scale(-0.3, 0.31), 7, [-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3]),
        (HERTZ, 10, [20.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3, 20e3]),
        (HERTZ, 6, [30.0, 100.0, 300.0, 1e3, 3e3, 10e3]),
        (HERTZ, 3, [100.0, 1e3, 10e3]),
        (Scale(700.0, 1400.0, logarithmic=True), 5, [800.0, 1000.0, 1200.0, 1400.0]),
    ],
)
def test_ticks_are_round_and_no_more_than_there_is_room_for(scale, most, ticks):
    assert scale.ticks(most) == pytest.approx(ticks)


def test_labels_of_levels_have_the_decimals_of_their_step():
    assert level_words([-6.0, 0.0, 2.0], 2.0) == ["-6", "0", "+2"]
    assert level_words([-0.5, 0.0], 0.5) == ["-0.5", "0.0"]
    assert level_words([-0.02, 0.04], 0.02) == ["-0.02", "+0.04"]


@pytest.mark.parametrize("width", [16, 40, 66, 120, 180])
def test_frequencies_stand_under_their_columns_and_apart(width):
    line = axis_below(HERTZ, width)
    assert len(line) == width
    assert len(line.split()) >= 2
    for words in line.split():
        hertz = float(words.replace("k", "e3"))
        start = (" " + line + " ").index(f" {words} ")
        middle = start + len(words) / 2.0
        place = np.log(hertz / 20.0) / np.log(1000.0) * width
        assert abs(middle - place) <= 0.5 + 1e-9 or start == 0 or start + len(words) == width


@pytest.mark.parametrize(
    ("environment", "dots"),
    [
        ({"LANG": "en_GB.UTF-8", "TERM": "xterm-256color"}, "braille"),
        ({"LANG": "C.utf8", "TERM": "tmux"}, "braille"),
        ({"LANG": "C", "TERM": "xterm"}, "plain"),
        ({"TERM": "xterm"}, "plain"),
        ({"LANG": "C", "LC_CTYPE": "C.UTF-8", "TERM": "xterm"}, "plain"),  # Python's own doing
        ({"LANG": "en_GB.UTF-8", "LC_ALL": "C", "TERM": "xterm"}, "plain"),
        ({"LANG": "C", "LC_CTYPE": "en_GB.UTF-8", "TERM": "xterm"}, "braille"),
        ({"LANG": "en_GB.UTF-8", "TERM": "vt100"}, "plain"),
        ({"LANG": "en_GB.UTF-8", "TERM": "linux"}, "plain"),
        ({"LANG": "en_GB.UTF-8", "TERM": "dumb"}, "plain"),
        ({"LANG": "C", "TERM": "dumb", "AURALIZE_DOTS": "blocks"}, "blocks"),
        ({"LANG": "C", "TERM": "dumb", "AURALIZE_DOTS": "stars"}, "plain"),
    ],
)
def test_dots_are_as_fine_as_the_terminal_can_be_trusted_with(environment, dots):
    assert dots_of(environment) == dots


def test_an_old_console_of_windows_has_half_blocks():
    assert dots_of({}, windows=True) == "blocks"
    assert dots_of({"WT_SESSION": "1"}, windows=True) == "braille"
