"""Panels of curves over frequency on a page, as a picture (PNG, SVG or PDF)."""

from __future__ import annotations

import io
import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.errors import RequestError
from auralize.figures.panels import Panel, PanelCurve
from auralize.outputs import check_ours, marked

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.legend import Legend
    from matplotlib.text import Text

ENDINGS: Final = (".png", ".svg", ".pdf")
SMALLEST, LARGEST = 4.7, 79.0
"""Inches of a page's side."""


@dataclass(frozen=True)
class Look:
    """How a picture looks."""

    size: tuple[float, float] = (8.0, 11.0)
    """Inches, width and height."""
    dark: bool = False


PLAIN: Final = Look()


@dataclass(frozen=True)
class PanelPage:
    """What stands on a page."""

    title: str
    labels: tuple[str, ...]
    """Of the curves, by their numbers."""
    panels: tuple[Panel, ...]
    caption: str
    """Below them, in small letters."""
    made: str
    """What made it, when, and from what: for the file's own description."""


def check_picture(path: Path, call: str, replaces: bool) -> None:
    """Raise AuralizeError where a page cannot be written there: asked before any work.

    For an ending that is not known, a file that another call made, unless it ``replaces``, or where
    matplotlib (extra "plot") is missing.
    """
    if path.suffix.lower() not in ENDINGS:
        wanted = ", ".join(ENDINGS)
        raise RequestError(f"{path}: this ending is not known; right is one of {wanted}")
    check_ours(path, call, replaces)
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        raise RequestError(
            "plots need matplotlib, which is not installed; `pip install matplotlib` brings it"
        ) from None


def page_image(shown: PanelPage, look: Look, suffix: str, call: str) -> bytes:
    """It as the file of that ending has it, with the mark of the call."""
    import matplotlib
    from matplotlib.figure import Figure

    about: dict[str, Any] = {"Subject" if suffix == ".pdf" else "Description": shown.made}
    # The day stands in it; a time, or names by chance, would make each drawing of the same another.
    about |= {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(suffix, {})
    settings: Any = {**_settings(look), "svg.hashsalt": call}
    with matplotlib.rc_context(settings):
        page = Figure(figsize=look.size)
        title = _folded(page, shown.title, "large")
        head = page.suptitle(title, x=_MARGIN, ha="left", fontsize="large")
        legend = _legend(page, shown.labels)
        bottom, top = _edges(page, head, legend, _caption(page, shown.caption))
        _draw(page, shown.panels, top - bottom)
        _settle(page, bottom, top)
        image = io.BytesIO()
        page.savefig(image, format=suffix[1:], metadata=about)
    return marked(image.getvalue(), suffix, call)


# ---- how it looks ---------------------------------------------------------------------------------

# Colours that are told apart with any colour vision: Okabe and Ito, "Color Universal Design" (2008), value
# from memory; their blue lighter on dark paper. The last is for what is the same for all choices.
_COLOURS: Final = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#8c8c8c")
_ON_DARK: Final = ("#4d9de0", *_COLOURS[1:])
_FOR_ALL: Final = "C6"
# Told apart without colour: each choice has a dash of its own, and beyond these a width.
_DASHES: Final = ("-", "--", "-.", ":", (0, (7, 2)), (0, (5, 1, 1, 1, 1, 1)), (0, (1, 3)))
_WIDTHS: Final = (1.3, 2.4, 0.7)
_USUAL_AREA, _USUAL_POINTS = 88.0, 9.0
# Square inches of the usual page, and the points that letters have on it.


def _settings(look: Look) -> dict[str, Any]:
    """Settings of the drawing: sizes that go with the page, ink and paper, text that stays text."""
    from cycler import cycler  # comes with matplotlib

    ink, paper = ("#e6e6e6", "#16181c") if look.dark else ("#111111", "#ffffff")
    scale = math.sqrt(look.size[0] * look.size[1] / _USUAL_AREA)
    inks = ("text.color", "axes.labelcolor", "axes.edgecolor", "xtick.color", "ytick.color")
    points = float(np.clip(_USUAL_POINTS * scale, 5.5, 24.0))
    return {
        "font.size": points,
        "xtick.major.pad": 0.6 * points,  # off the lowest label of the other axis
        "axes.titlesize": "medium",
        "axes.prop_cycle": cycler(color=_ON_DARK if look.dark else _COLOURS),
        "axes.axisbelow": False,
        "legend.fontsize": "medium",
        "legend.frameon": False,
        "grid.color": ink,
        "grid.alpha": 0.2,
        "figure.facecolor": paper,
        "axes.facecolor": paper,
        "savefig.facecolor": paper,
        "text.parse_math": False,  # a $ is a $
        "svg.fonttype": "none",
        "pdf.fonttype": 42,
        **dict.fromkeys(inks, ink),
    }


def _scale() -> float:
    """Of lines, which go with the letters."""
    import matplotlib

    return float(matplotlib.rcParams["font.size"]) / _USUAL_POINTS


def _style(number: int | None) -> dict[str, Any]:
    if number is None:
        return {"color": _FOR_ALL, "linewidth": _WIDTHS[0] * _scale()}
    return {
        "color": f"C{number % (len(_COLOURS) - 1)}",
        "linestyle": _DASHES[number % len(_DASHES)],
        "linewidth": _WIDTHS[number // len(_DASHES) % len(_WIDTHS)] * _scale(),
    }


# ---- what is drawn --------------------------------------------------------------------------------


def _draw(page: Figure, shown: Sequence[Panel], share: float) -> None:
    """The panels below each other in a share of the page's height, in two columns where that is low."""
    width, height = page.get_size_inches()
    low = height * share / len(shown) < _LOWEST_PANEL * _scale()
    left = len(shown) // 2 if (low or width > height) and len(shown) > 1 else len(shown)
    columns = [part for part in (shown[:left], shown[left:]) if part]
    rows = math.prod(len(part) for part in columns)  # so that columns of two and three are as high
    grid = page.add_gridspec(rows, len(columns))
    for column, part in enumerate(columns):
        each = rows // len(part)
        for number, panel in enumerate(part):
            place = page.add_subplot(grid[number * each : (number + 1) * each, column])
            _fill(place, panel)
            place.tick_params(labelbottom=number == len(part) - 1)
        place.set_xlabel("frequency, Hz")


_LOWEST_PANEL: Final = 1.2
# Inches of one on the usual page, with the letters about it.


def _fill(place: Axes, panel: Panel) -> None:
    place.set_xscale("log")
    place.set_xlim(20.0, 20_000.0)
    place.set_title(panel.words, loc="left")
    place.grid(visible=True)
    for curve in panel.curves:
        _line(place, panel.frequency, curve)
    if panel.zero:
        place.axhline(0.0, color=_FOR_ALL, linewidth=0.8)
    if panel.bars is not None:
        _bars(place, *panel.bars)
    _span(place, panel)


def _bars(place: Axes, hertz: Real, level: Real) -> None:
    """Third octaves side by side: tenths of a decade about 1 kHz, IEC 61260-1."""
    exact = 1000.0 * 10.0 ** (np.round(10.0 * np.log10(hertz / 1000.0)) / 10.0)
    half, bottom = 10.0**0.05, level.min() - _BELOW_DB
    place.bar(
        exact / half, level - bottom, exact * (half - 1.0 / half), bottom, align="edge",
        color=_FOR_ALL, edgecolor=_FOR_ALL, linewidth=0.5,
    )  # fmt: skip


_BELOW_DB: Final = 40.0
# By which bars go on below the softest, to the end of the axis.


def _line(place: Axes, hertz: Real, curve: PanelCurve) -> None:
    style = _style(curve.number)
    place.plot(hertz, _gaps(curve.values), **style)
    bands = [] if curve.inner is None else [curve.inner]
    if curve.low is not None and curve.high is not None:
        bands.append((curve.low, curve.high))
    for low, high in bands:
        ends = _gaps(low), _gaps(high)
        place.fill_between(hertz, *ends, color=style["color"], alpha=0.2, linewidth=0.0)


def _gaps(values: Real) -> Real:
    return np.where(np.isfinite(values), values, np.nan)


def _span(place: Axes, panel: Panel) -> None:
    """The axis of levels, no less than its least span."""
    drawn = [v for c in panel.curves for v in (c.values, c.low, c.high) if v is not None]
    drawn += [np.zeros(1)] if panel.zero else []
    drawn += [] if panel.bars is None else [panel.bars[1]]
    values = np.concatenate(drawn)
    values = values[np.isfinite(values)]
    if not values.size:
        place.set_ylim(-panel.least, 0.0)
        place.text(0.5, 0.5, "silent", transform=place.transAxes, ha="center", va="center")
        return
    low, high = float(values.min()), float(values.max())
    half = max(1.08 * (high - low), panel.least) / 2.0
    place.set_ylim((low + high) / 2.0 - half, (low + high) / 2.0 + half)


# ---- letters, which must not lie on each other -----------------------------------------------------

_TICKS: Final = (
    {20: "20", 50: "50", 100: "100", 200: "200", 500: "500", 1e3: "1k", 2e3: "2k", 5e3: "5k",
     1e4: "10k", 2e4: "20k"},
    {20: "20", 100: "100", 1e3: "1k", 1e4: "10k"},
)  # fmt: skip
_MARGIN: Final = 0.01
# Of the page, on either side of its letters.
_LETTER: Final = 0.55
# Width of a letter over its size, a little more than the mean.
_HANDLE: Final = 9
# Letters that the line before a label is as wide as.
_MOST_COLUMNS: Final = 4


def _folded(page: Figure, text: str, size: str = "medium", taken: int = 0) -> str:
    """Text in as many lines as the page's width asks for, less room for some letters."""
    import matplotlib

    points = matplotlib.rcParams["font.size"] * {"large": 1.2, "medium": 1.0, "small": 0.84}[size]
    letters = page.get_figwidth() * 72.0 * (1.0 - 4.0 * _MARGIN) / (points * _LETTER)
    return textwrap.fill(text, max(int(letters) - taken, 16))


def _legend(page: Figure, labels: Sequence[str]) -> Legend:
    """The choices below the title, in as many columns as there is room for."""
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], **_style(number)) for number in range(len(labels))]
    folded = [_folded(page, label, taken=_HANDLE) for label in labels]
    room = page.bbox.width * (1.0 - 2.0 * _MARGIN)
    for columns in range(min(_MOST_COLUMNS, len(labels)), 0, -1):
        legend = page.legend(
            handles, folded, loc="upper left", ncols=columns, handlelength=3.5, borderaxespad=0.0,
            borderpad=0.2,
        )  # fmt: skip
        if columns == 1 or legend.get_window_extent().width <= room:
            break
        legend.remove()
    return legend


def _caption(page: Figure, words: str) -> Text:
    words = _folded(page, words, "small")
    return page.text(_MARGIN, _MARGIN, words, ha="left", va="bottom", fontsize="small")


def _edges(page: Figure, title: Text, legend: Legend, caption: Text) -> tuple[float, float]:
    """Title, choices and caption put at the edges; from where to where the page is free, as shares."""

    def share(part: Text | Legend) -> float:
        part.set_in_layout(False)
        return part.get_window_extent().height / page.bbox.height + _MARGIN

    top = 1.0 - _MARGIN
    title.set_y(top)
    top -= share(title)
    legend.set_bbox_to_anchor((_MARGIN, top), transform=page.transSubfigure)
    return _MARGIN + share(caption), top - share(legend)


def _settle(page: Figure, bottom: float, top: float) -> None:
    """The panels laid out in what is free, with as many frequencies as there is room for."""
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    rect = (0.0, bottom, 1.0 - 2.0 * _MARGIN, top - bottom)
    page.set_layout_engine(ConstrainedLayoutEngine(rect=rect))
    for ticks in _TICKS:
        for place in page.axes:
            place.set_xticks(list(ticks), list(ticks.values()))
            place.minorticks_off()
        page.draw_without_rendering()
        if not any(_crowded(place) for place in page.axes):
            break


def _crowded(place: Axes) -> bool:
    """Whether labels along the frequency axis lie on each other."""
    boxes = [label.get_window_extent() for label in place.get_xticklabels()]
    return any(one.x1 + 2.0 > other.x0 for one, other in pairwise(boxes))
