"""Letters on a page of matplotlib: which of them are seen, and which lie on each other."""

from __future__ import annotations

from itertools import combinations

from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

TOUCH = 0.5
"""Points that two boxes may share, as they have a rim."""


def seen(page: Figure) -> list[tuple[str, Bbox]]:
    """Every text that is drawn, and its box; ticks outside of their axis are not drawn."""
    page.draw_without_rendering()  # as it is saved, a page may have had other pixels
    hidden: set[Text] = set()
    for axis in page.findobj(Axis):
        low, high = sorted(axis.get_view_interval())
        for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
            inside = low * 0.999999 <= tick.get_loc() <= high * 1.000001
            if low < 0.0:
                inside = low - 1e-9 <= tick.get_loc() <= high + 1e-9
            for label, on in ((tick.label1, tick.label1.get_visible()), (tick.label2, False)):
                if not (inside and on):
                    hidden.add(label)
    return [
        (text.get_text(), text.get_window_extent())
        for text in page.findobj(Text)
        if text.get_text().strip() and text.get_visible() and text not in hidden
    ]


def clashes(page: Figure) -> list[str]:
    """Texts that lie on each other, or beyond the page."""
    texts = seen(page)
    found = [
        f"{one!r} lies on {other!r}"
        for (one, first), (other, second) in combinations(texts, 2)
        if min(first.x1, second.x1) - max(first.x0, second.x0) > TOUCH
        and min(first.y1, second.y1) - max(first.y0, second.y0) > TOUCH
    ]
    return found + [
        f"{text!r} is beyond the page"
        for text, box in texts
        if box.x0 < -TOUCH
        or box.y0 < -TOUCH
        or box.x1 > page.bbox.x1 + TOUCH
        or box.y1 > page.bbox.y1 + TOUCH
    ]
