"""Loss and drop over frequency as bands: the median, and what most cases, or all steps, lie between."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from auralize.circuit.signals import over
from auralize.figures.panels import LEAST_DB, Panel, PanelCurve
from auralize.figures.picture import PLAIN, PanelPage, page_image
from auralize.outputs import origin
from auralize.sweep.chunks import CURVES, Chunks
from auralize.sweep.percentiles import LEAST_TO_MOST, PERCENTS

FREQUENCIES: Final = np.geomspace(20.0, 20e3, 200)
"""Hz; 67 a decade: a driver's peak of Q 10 is cut by less than 0.5 dB, its loss by far less."""
MOST_PLOTTED: Final = 100_000
"""Cases; their curves take 0.3 GB a choice on the disk while it goes on."""


def percentile_plot(chunks: Chunks, path: Path, call: str) -> bytes:
    """The picture that is to have this name, with the mark of the call that makes it."""
    names = ["loss, dB", f"drop{over('drop', chunks.across)}, dB re sending end"]
    panels = [
        Panel(
            words,
            tuple(_band(chunks, number, curve) for number in range(len(chunks.choices))),
            LEAST_DB,
            frequency=chunks.frequency,
        )
        for words, curve in zip(names, CURVES, strict=True)
    ]
    rigs = ", ".join(dict.fromkeys(choice.fingerprint for choice in chunks.choices))
    made = f"{origin()}, rig {rigs}"
    caption = (
        f"Of {len(chunks.cases)} cases at each frequency the median, and {_bands(chunks)}. {made}"
    )
    labels = tuple(
        choice.name if choice.label == choice.name else f"{choice.name}: {choice.label}"
        for choice in chunks.choices
    )
    page = PanelPage(chunks.rig.title, labels, tuple(panels), caption, made)
    return page_image(page, PLAIN, path.suffix, call)


def _bands(chunks: Chunks) -> str:
    if not chunks.cases.tolerances:
        return "a band from least to most"
    low, quarter, _, more, high = PERCENTS
    return f"bands from {low} to {high} % and from {quarter} to {more} %"


def _band(chunks: Chunks, number: int, curve: str) -> PanelCurve:
    if not chunks.cases.tolerances:
        least, middle, most = chunks.curve_percentiles(number, curve, LEAST_TO_MOST)
        return PanelCurve(number, middle, least, most)
    low, quarter, middle, more, high = chunks.curve_percentiles(number, curve)
    return PanelCurve(number, middle, low, high, (quarter, more))
