"""Large letters out of half blocks: what is heard now, to be read from across a room."""

from __future__ import annotations

from typing import Final

from textual.widgets import Static

_HIGH: Final = 5
_LETTERS: Final = {
    sign: dots.split()
    for sign, dots in {
        "A": "010 101 111 101 101",
        "B": "110 101 110 101 110",
        "C": "011 100 100 100 011",
        "D": "110 101 101 101 110",
        "E": "111 100 110 100 111",
        "F": "111 100 110 100 100",
        "G": "011 100 101 101 011",
        "H": "101 101 111 101 101",
        "I": "1 1 1 1 1",
        "J": "001 001 001 101 010",
        "K": "101 101 110 101 101",
        "L": "100 100 100 100 111",
        "M": "10001 11011 10101 10001 10001",
        "N": "1001 1101 1011 1001 1001",
        "O": "010 101 101 101 010",
        "P": "110 101 110 100 100",
        "Q": "010 101 101 110 011",
        "R": "110 101 110 101 101",
        "S": "011 100 010 001 110",
        "T": "111 010 010 010 010",
        "U": "101 101 101 101 111",
        "V": "101 101 101 101 010",
        "W": "10001 10001 10101 11011 10001",
        "X": "101 101 010 101 101",
        "Y": "101 101 010 010 010",
        "Z": "111 001 010 100 111",
        "0": "010 101 101 101 010",
        "1": "01 11 01 01 01",
        "2": "110 001 010 100 111",
        "3": "110 001 010 001 110",
        "4": "101 101 111 001 001",
        "5": "111 100 110 001 110",
        "6": "011 100 110 101 010",
        "7": "111 001 010 010 010",
        "8": "010 101 010 101 010",
        "9": "010 101 011 001 110",
        "-": "000 000 111 000 000",
        " ": "00 00 00 00 00",
    }.items()
}
"""Rows of dots, by letter."""
_HALVES: Final = {"00": " ", "10": "▀", "01": "▄", "11": "█"}


def large(words: str, width: int, scale: int = 1) -> list[str]:
    """The words ``scale`` dots a dot, two dots a row; none where they do not fit or cannot be written."""
    letters = [_LETTERS.get(sign) for sign in words.upper()]
    rows = []
    for row in range(_HIGH):
        dots = "0".join(letter[row] if letter else "" for letter in letters)
        rows += ["".join(dot * scale for dot in dots)] * scale
    if None in letters or not words or len(rows[0]) > width:
        return []
    if len(rows) % 2:
        rows.append("0" * len(rows[0]))
    return [
        "".join(_HALVES[upper + lower] for upper, lower in zip(*pair, strict=True))
        for pair in zip(rows[::2], rows[1::2], strict=True)
    ]


class Big(Static):
    """The first of some wordings that fits, as large as there is room for."""

    def on_mount(self) -> None:
        self._wordings: tuple[str, ...] = ()

    def show(self, *wordings: str) -> None:
        """The longest wording first."""
        if wordings != self._wordings:
            self._wordings = wordings
            self._draw()

    def on_resize(self) -> None:
        """Find out what there is room for."""
        self._draw()

    def _draw(self) -> None:
        width, height = self.size
        for scale in (2, 1):
            for words in self._wordings:
                lines = large(words, width, scale)
                if lines and len(lines) <= height:
                    self.update("\n".join(lines))
                    return
        self.update("")
