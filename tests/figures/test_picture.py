"""The picture: what is drawn in each panel, read back from the page before it becomes a file."""

import numpy as np
import pytest

import auralize as au
from auralize.figures.picture import ENDINGS, save_plot

matplotlib_figure = pytest.importorskip("matplotlib.figure")

RIG = {
    "amplifier": {"resistance": "0 ohm"},
    "cables": {
        "reel": {"construction": "measured", "resistance": "10 mohm/m", "inductance": "1 uH/m"}
    },
    "runs": {"pond": {"cable": "reel", "length": "100 m"}},
    "loads": {"stage": {"type": "resistor", "resistance": "4 ohm"}},
    "choices": {"near": {"runs": {"pond": {"length": "20 m"}}}, "far": {}},
}
OHM, HENRY, LOAD = 0.010, 1e-6, 4.0


@pytest.fixture
def page(tmp_path, monkeypatch):
    """The page as it was when it was saved."""
    kept = []
    save = matplotlib_figure.Figure.savefig
    monkeypatch.setattr(
        matplotlib_figure.Figure,
        "savefig",
        lambda self, *rest, **more: (kept.append(self), save(self, *rest, **more))[1],
    )
    said = save_plot("Pond", au.read_rig(RIG).pick([]), tmp_path / "pond.svg")
    assert said.endswith("pond.svg: loss, drop and load from 20 Hz to 20 kHz, near; far")
    return kept[0]


def test_each_panel_shows_what_its_axis_says(page):
    """Closed forms of a divider: Z = 100 m (10 mohm + j w 1 uH) before 4 ohm."""
    loss, drop, ohm, degrees = page.axes
    assert [panel.get_ylabel() for panel in page.axes] == [
        "loss, dB",
        "drop, dB re sending end",
        "load, ohm",
        "load, degrees",
    ]
    for place, metres in enumerate((20.0, 100.0)):
        f = loss.lines[place].get_xdata()
        assert (f[0], f[-1]) == pytest.approx((20.0, 20_000.0))
        series = metres * (OHM + 2j * np.pi * f * HENRY)
        level = lambda ratio: 20 * np.log10(np.abs(ratio))  # noqa: E731
        kept, arriving = series / (series + LOAD), LOAD / (series + LOAD)
        np.testing.assert_allclose(loss.lines[place].get_ydata(), level(arriving), atol=1e-3)
        np.testing.assert_allclose(drop.lines[place].get_ydata(), level(kept), atol=1e-3)
        np.testing.assert_allclose(ohm.lines[place].get_ydata(), LOAD, rtol=1e-12)
        np.testing.assert_allclose(degrees.lines[place].get_ydata(), 0.0, atol=1e-9)


def test_choices_are_named_and_told_apart_without_colour(page):
    assert [text.get_text() for text in page.axes[0].get_legend().get_texts()] == ["near", "far"]
    dashes = {line.get_linestyle() for line in page.axes[0].lines}
    assert len(dashes) == 2
    assert page.axes[3].get_xlabel() == "frequency, Hz"
    assert page.get_suptitle() == "Pond"


def test_endings_that_are_not_known_are_refused_before_anything_is_drawn(tmp_path):
    with pytest.raises(au.RequestError, match=r"right is one of \.png, \.svg, \.pdf"):
        save_plot("Pond", [], tmp_path / "pond.gif")
    assert ENDINGS == (".png", ".svg", ".pdf")
    assert not list(tmp_path.iterdir())
