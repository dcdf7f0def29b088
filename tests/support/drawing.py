"""The panel of curves, read back as somebody reads it: dots against the lines of the grid."""

import numpy as np
from auralize_tui.colours import DARK
from auralize_tui.curves import CurvePanel

# Dots 1 to 8 of a braille cell, as (down, across); Unicode numbers patterns by them (from memory).
_PLACES = ((0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1), (3, 0), (3, 1))
SCALE = 6


def dots_of_cell(sign):
    """4 x 2 dots; None for a sign that is no braille."""
    if sign == " ":
        return np.zeros((4, 2), dtype=bool)
    bits = ord(sign) - 0x2800
    if not 0 < bits < 256:
        return None
    cell = np.zeros((4, 2), dtype=bool)
    for number, place in enumerate(_PLACES):
        cell[place] = bits >> number & 1
    return cell


class Drawing:
    """The panel of an app on a dark ground, in braille."""

    def __init__(self, app):
        text = app.screen.query_one(CurvePanel).render()
        lines = text.split("\n")
        self.title = lines[0].plain
        self.reading = lines[1].plain if lines[1].plain[5:6] not in "│┤" else None
        shown = [line for line in lines if line.plain[5:6] in "│┤" and line.plain[:5] != " prog"]
        programme = [line.plain[SCALE:] for line in lines if line.plain.startswith(" prog│")]
        self.programme = programme[0] if programme else None
        self.axis = lines[-1].plain[SCALE:]
        self.width = len(self.axis)
        self.labels = {n: float(r.plain[:5]) for n, r in enumerate(shown) if r.plain[5] == "┤"}
        self.names = {n: r.plain[SCALE + self.width :].strip() for n, r in enumerate(shown)}
        self.names = {n: name for n, name in self.names.items() if name}
        self.signs = [row.plain[SCALE : SCALE + self.width] for row in shown]
        self.styles = [_styles(row)[SCALE : SCALE + self.width] for row in shown]
        self.height = len(shown)

    def dots(self, *styles):
        """4 x 2 dots a cell of everything in these styles; marks are all of their cell."""
        found = np.zeros((4 * self.height, 2 * self.width), dtype=bool)
        for row, (signs, drawn) in enumerate(zip(self.signs, self.styles, strict=True)):
            for column, (sign, style) in enumerate(zip(signs, drawn, strict=True)):
                if sign != " " and style in styles:
                    cell = dots_of_cell(sign)
                    place = np.s_[4 * row : 4 * row + 4, 2 * column : 2 * column + 2]
                    found[place] = True if cell is None else cell
        return found

    def curves(self):
        """The dots of all curves."""
        return self.dots(*DARK.curves, *(f"bold {colour}" for colour in DARK.curves))

    def marks(self):
        """Each mark with the cells in which it stands."""
        found = {}
        for row, signs in enumerate(self.signs):
            for column, sign in enumerate(signs):
                if sign.isalnum():
                    found.setdefault(sign, []).append((row, column))
        return found

    def _lines(self):
        """The lowest and the highest line of the grid that no curve covers: row of dots, and dB."""
        muted, lines = self.dots(DARK.muted), {}
        for row, level in self.labels.items():
            lit = muted[4 * row : 4 * row + 4].sum(axis=1)
            if lit.max() > self.width // 4:
                lines[4 * row + int(np.argmax(lit))] = level
        return min(lines.items()), max(lines.items())

    def levels(self):
        """dB of every row of dots, from two lines of the grid and the labels beside them."""
        (first, high), (last, low) = self._lines()
        return high + (low - high) / (last - first) * (np.arange(4 * self.height) - first)

    def slack(self):
        """dB by which a row may be misread: half a dot of the curve, and half of each of the two lines."""
        (first, _), (last, _) = self._lines()
        rows = np.arange(4 * self.height)
        lines = (np.abs(rows - first) + np.abs(rows - last)) / (2.0 * (last - first))
        return (
            1.05 * (0.5 + lines) * self.dot()
        )  # and what lines between points of a curve are beside it

    def dot(self):
        """dB from one row of dots to the next."""
        levels = self.levels()
        return float(levels[0] - levels[1])

    def hertz(self, low=20.0, high=20e3):
        """At the middle of each column of dots."""
        columns = 2 * self.width
        return low * (high / low) ** ((np.arange(columns) + 0.5) / columns)

    def holds(self, expected):
        """Whether a curve of these levels is drawn, as near as it can be read."""
        near = np.abs(self.levels()[:, None] - expected[None, :]) <= self.slack()[:, None]
        return bool((near & self.curves()).any(axis=0).all())

    def holds_nothing_but(self, *expected):
        """Whether every dot belongs to one of these curves: to it, or between it and the next column."""
        levels, slack = self.levels()[:, None], self.slack()[:, None]
        explained = np.zeros(self.curves().shape, dtype=bool)
        for curve in expected:
            whole = np.array([curve, np.roll(curve, 1), np.roll(curve, -1)])
            whole[1, 0], whole[2, -1] = curve[0], curve[-1]
            explained |= (levels >= whole.min(0) - slack) & (levels <= whole.max(0) + slack)
        for places in self.marks().values():
            for row, column in places:
                explained[4 * row : 4 * row + 4, 2 * column : 2 * column + 2] = True
        return not (self.curves() & ~explained).any()


def _styles(row):
    """The style of each sign."""
    styles = [""] * len(row.plain)
    for span in row.spans:
        for n in range(span.start, span.end):
            styles[n] = str(span.style)
    return styles
