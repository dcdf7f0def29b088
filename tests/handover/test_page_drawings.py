"""Curves and installations of a page, read back from what is drawn."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from xml.etree.ElementTree import Element, fromstring

import numpy as np
import pytest

from auralize.figures.curves import curves
from auralize.figures.panels import Panel, PanelCurve, panels
from auralize.figures.reference import SWEEP
from auralize.handover.installation import installation
from auralize.handover.plots import plot
from auralize.handover.svg import plain
from auralize.rig.choice import Choice
from auralize.rig.reading import load_rig
from support.handed_pages import DEMO

WORDS = {
    "amplifier": "amplifier",
    "no_cable": "no cable",
    "drop": "drop",
    "receiving": "receiving end",
}
PLOT = {"silent": "silent", "level": "{level} at {hertz}"}


def choices_of(rig: str) -> list[Choice]:
    return load_rig(DEMO / f"{rig}.toml").pick([])


def texts(root: Element) -> list[str]:
    return ["".join(one.itertext()) for one in root.iter("text")]


def of_class(root: Element, name: str) -> list[Element]:
    return [one for one in root.iter() if name in (one.get("class") or "").split()]


def points(element: Element) -> np.ndarray:
    """Those of a path of straight lines, shape (n, 2)."""
    pairs = re.findall(r"(-?[\d.]+) (-?[\d.]+)", element.get("d") or "")
    return np.array(pairs, dtype=float)


def scale(root: Element, anchor: str) -> tuple[np.ndarray, np.ndarray]:
    """Where the labels of an axis stand, and what they say; the letters' feet are 4 below their middle."""
    labels = [one for one in root.iter("text") if one.get("text-anchor") == anchor]
    side = "x" if anchor == "middle" else "y"
    at, said = [], []
    for one in labels:
        words = (one.text or "").replace("\u2212", "-").replace("k", "e3")
        if re.fullmatch(r"-?[\d.]+(e3)?", words):
            at.append(float(one.get(side) or "nan") - (4.0 if side == "y" else 0.0))
            said.append(float(words))
    return np.array(at), np.array(said)


def read_back(root: Element, curve: Element, hertz: float) -> float:
    """The level of a drawn curve, by the labels of the axes alone."""
    across, frequency = scale(root, "middle")
    down, level = scale(root, "end")
    line = points(curve)
    x = np.interp(math.log(hertz), np.log(frequency), across)
    slope, offset = np.polyfit(down, level, 1)
    return float(slope * np.interp(x, line[:, 0], line[:, 1]) + offset)


@pytest.mark.parametrize("hertz", [50.0, 1000.0, 15_000.0])
def test_curves_stand_where_their_axes_say(hertz) -> None:
    found = choices_of("saltmarsh")
    loss, drop, *_ = panels(found, "both", None, None)
    for panel, name in ((loss, "loss_db"), (drop, "drop_db")):
        root = fromstring(plot(panel, [one.name for one in found], PLOT))
        drawn = of_class(root, "curve")
        assert len(drawn) == len(found)
        down, level = scale(root, "end")
        unit = abs(np.ptp(level) / np.ptp(down))  # dB that one unit of the drawing is
        for choice, curve in zip(found, drawn, strict=True):
            wanted = getattr(curves(choice, frequency=np.array([hertz])), name)[0]
            assert read_back(root, curve, hertz) == pytest.approx(wanted, abs=0.5 * unit)


def panel_of(*values: np.ndarray) -> Panel:
    return Panel("loss, dB", tuple(PanelCurve(n, one) for n, one in enumerate(values)), 3.0)


def test_names_stand_apart_however_many_end_at_one_level() -> None:
    flat = [np.full(SWEEP.shape, -1.0 - 0.001 * n) for n in range(20)]
    root = fromstring(plot(panel_of(*flat), [f"choice {n}" for n in range(20)], PLOT))
    names = [one for one in root.iter("text") if re.match(r"\d+ ", one.text or "")]
    height = float((root.get("viewBox") or "").split()[3])
    places = sorted(float(one.get("y") or "nan") for one in names)
    assert len(places) == 20
    assert min(np.diff(places)) >= 11.0  # letters of 11 units
    assert places[0] > 11.0
    assert places[-1] < height


def test_no_two_of_many_share_both_dash_and_mark() -> None:
    flat = [np.full(SWEEP.shape, float(n)) for n in range(42)]
    root = fromstring(plot(panel_of(*flat), [str(n) for n in range(42)], PLOT))
    looks = {
        (
            group.get("class"),
            next(group.iter("path"), group).get("d") and of_class(group, "mark")[0].get("d"),
        )
        for group in root.iter("g")
        if of_class(group, "curve")
    }
    assert len(looks) == 42


def test_silence_is_a_gap_and_is_said() -> None:
    half = np.where(SWEEP < 1000.0, -1.0, -np.inf)
    none = np.full(SWEEP.shape, -np.inf)
    root = fromstring(plot(panel_of(half, none), ["half", "off"], PLOT))
    (drawn,) = of_class(root, "curve")
    right, _ = scale(root, "middle")
    assert points(drawn)[:, 0].max() < right[-1]
    assert "2 off: silent" in texts(root)
    assert "off: silent at 100 Hz, silent at 1 kHz" in (root.get("aria-label") or "")
    assert "half: -1.00 at 100 Hz, silent at 10 kHz".replace(
        ", silent at 10", ", silent at 1 kHz, silent at 10"
    ) in (root.get("aria-label") or "")


def test_what_is_left_open_is_a_band_about_its_curve() -> None:
    low, middle, high = (np.full(SWEEP.shape, level) for level in (-3.0, -2.0, -1.5))
    panel = Panel("loss, dB", (PanelCurve(0, middle, low, high),), 3.0)
    root = fromstring(plot(panel, ["coiled"], PLOT))
    (band,) = of_class(root, "open")
    heights = points(band)[:, 1]
    (line,) = of_class(root, "curve")
    assert heights.min() < points(line)[0, 1] < heights.max()


# ---- installations


def drawn(choice: Choice) -> Element:
    return fromstring(installation(choice, WORDS))


def test_the_run_and_both_ends_are_named() -> None:
    root = drawn(choices_of("saltmarsh")[0])
    assert {"amplifier", "pond 62 m (203 ft)", "stage", "drop", "receiving end"} <= set(texts(root))
    assert not of_class(root, "joint")
    assert root.get("aria-label") == "amplifier; pond 62 m (203 ft); stage"


def test_a_coil_and_its_absence_are_seen() -> None:
    laid_out, on_reel, *_ = choices_of("lay")
    assert not of_class(drawn(laid_out), "turn")
    assert of_class(drawn(on_reel), "turn")


def test_joints_and_swapped_terminals_are_seen() -> None:
    by_name = {one.name: drawn(one) for one in choices_of("path")}
    assert of_class(by_name["sound"], "joint")
    signs = {
        name: [one for one in texts(root) if one in "+\u2212"] for name, root in by_name.items()
    }
    assert signs["sound"] == ["+", "\u2212", "+", "\u2212"]
    assert signs["swapped"] == ["+", "\u2212", "\u2212", "+"]


def test_of_many_parts_the_ends_are_drawn_and_the_rest_is_counted() -> None:
    words = texts(drawn(choices_of("boathouse")[0]))
    assert {"step-up", "ceiling 60 m", "18 more", "tap 20", "lamp 20"} <= set(words)


def test_nothing_is_drawn_off_the_sheet() -> None:
    for rig in ("saltmarsh", "path", "boathouse"):
        root = drawn(choices_of(rig)[0])
        width = float((root.get("viewBox") or "").split()[2])
        for one in root.iter("text"):
            x, wide = float(one.get("x") or "nan"), 6.5 * len(one.text or "")
            left = (
                x - {"start": 0.0, "middle": wide / 2.0, "end": wide}[one.get("text-anchor") or ""]
            )
            assert left >= -1.0, one.text
            assert left + wide <= width + 1.0, one.text


def test_hostile_names_are_words() -> None:
    choice = choices_of("saltmarsh")[0]
    name = '</svg><script>"&'
    hostile = replace(
        choice,
        listen=name,
        network=replace(choice.network, loads={name: choice.network.loads["stage"]}),
    )
    root = drawn(hostile)
    assert not list(root.iter("script"))
    assert any("</svg" in words for words in texts(root))
    assert plain("a\x07b\ud800") == "a\ufffdb\ufffd"
