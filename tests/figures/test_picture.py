"""The picture: what is drawn in each panel, read back from the page before it becomes a file."""

import re
from pathlib import Path

import numpy as np
import pytest

import auralize as au
from auralize.circuit.power import Drive
from auralize.commands.main import main
from auralize.figures.lays import lay_figures
from auralize.figures.panels import LEAST_DB
from auralize.figures.picture import ENDINGS, Look
from auralize.figures.plot import save_plot
from auralize.outputs import origin
from support.letters import clashes

matplotlib_figure = pytest.importorskip("matplotlib.figure")

RIG = {
    "amplifier": {"resistance": "0 ohm"},
    "cables": {
        "reel": {"construction": "measured", "resistance": "10 mohm/m", "inductance": "1 uH/m"}
    },
    "runs": {"pond": {"cable": "reel", "length": "100 m"}},
    "loads": {"stage": {"type": "resistor", "resistance": "4 ohm"}},
    "choices": {"near": {"label": "20 m", "runs": {"pond": {"length": "20 m"}}}, "far": {}},
}
DEMO = Path(__file__).parents[2] / "audio_demo"
SOUND = Drive(1.0, (50.0, 63.0, 1000.0, 8000.0), (0.5, 0.3, 0.19, 0.01), 4.0, "programme.wav")
OHM, HENRY, LOAD = 0.010, 1e-6, 4.0


@pytest.fixture
def kept(monkeypatch):
    """Pages as they were when they were saved."""
    kept = []
    save = matplotlib_figure.Figure.savefig
    monkeypatch.setattr(
        matplotlib_figure.Figure,
        "savefig",
        lambda self, *rest, **more: (kept.append(self), save(self, *rest, **more))[1],
    )
    return kept


@pytest.fixture
def page(tmp_path, kept):
    said = save_plot("Pond", au.read_rig(RIG).pick([]), tmp_path / "pond.svg")
    assert said.endswith("pond.svg: loss, drop and load from 20 Hz to 20 kHz, near; far")
    return kept[0]


def test_each_panel_shows_what_its_axis_says(page):
    """Closed forms of a divider: Z = 100 m (10 mohm + j w 1 uH) before 4 ohm."""
    loss, drop, ohm, degrees = page.axes
    assert [panel.get_title(loc="left") for panel in page.axes] == [
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
    (only_ohm,), (only_degrees,) = ohm.lines, degrees.lines  # the same for both, and drawn once
    np.testing.assert_allclose(only_ohm.get_ydata(), LOAD, rtol=1e-12)
    np.testing.assert_allclose(only_degrees.get_ydata(), 0.0, atol=1e-9)


def test_choices_are_named_and_told_apart_without_colour(page):
    (legend,) = page.legends
    assert [text.get_text() for text in legend.get_texts()] == ["near: 20 m", "far"]
    dashes = {line.get_linestyle() for line in page.axes[0].lines}
    assert len(dashes) == 2
    assert page.axes[3].get_xlabel() == "frequency, Hz"
    assert page.get_suptitle() == "Pond"


def test_endings_that_are_not_known_are_refused_before_anything_is_drawn(tmp_path):
    with pytest.raises(au.RequestError, match=r"right is one of \.png, \.svg, \.pdf"):
        save_plot("Pond", [], tmp_path / "pond.gif")
    assert ENDINGS == (".png", ".svg", ".pdf")
    assert not list(tmp_path.iterdir())


LONG = "{} m of 2.5 mm2 twin, as it lies along the wall of the wheel house and back to the sluice"


def many(count):
    """So many choices, some with long labels."""
    choices = {
        f"length-{n}": {
            "label": LONG.format(20 + n) if n % 3 == 0 else f"{20 + n} m",
            "runs": {"pond": {"length": f"{20 + n} m"}},
        }
        for n in range(count)
    }
    return au.read_rig({**RIG, "choices": choices})


SIZES = [(8.0, 11.0), (4.7, 4.7), (13.0, 7.0), (30.0, 20.0), (4.7, 9.0)]


@pytest.mark.parametrize("count", [1, 2, 3, 5, 8, 12])
def test_no_letters_lie_on_each_other_or_beyond_the_page(count, tmp_path, kept):
    """By matplotlib's own boxes, from 1 to 12 choices on pages of several sizes, light and dark in turn."""
    rig = many(count)
    sounding = {"sound": SOUND, **({"against": rig["length-0"]} if count % 2 else {})}
    for number, more in enumerate(({}, sounding)):
        look = Look(SIZES[(count + number) % len(SIZES)], dark=number == 1)
        save_plot(LONG.format(1), rig.pick([]), tmp_path / f"{number}.svg", look=look, **more)
    for page in kept:
        assert clashes(page) == [], page.get_size_inches()
        assert all(place.get_position().height * page.get_figheight() > 0.25 for place in page.axes)


def test_letters_that_lie_on_each_other_are_found(page):
    page.text(0.5, 0.5, "one of two")
    page.text(0.5, 0.5, "the other")
    page.text(0.99, 0.5, "half of it outside")
    assert sorted(clashes(page)) == [
        "'half of it outside' is beyond the page",
        "'one of two' lies on 'the other'",
    ]


def test_every_choice_of_eighteen_has_a_line_of_its_own(tmp_path, kept):
    save_plot("Pond", many(18).pick([]), tmp_path / "pond.png")
    lines = kept[0].axes[0].lines
    looks = {(str(line._dash_pattern), line.get_linewidth()) for line in lines}
    assert len(looks) == 18, "without colour"


def test_a_small_difference_does_not_look_dramatic(page):
    loss, drop, *_ = page.axes
    low, high = loss.get_ylim()
    assert high - low == pytest.approx(max(LEAST_DB, high - low))
    values = np.concatenate([line.get_ydata() for line in loss.lines])
    assert low < values.min() < values.max() < high
    rig = many(2)
    assert LEAST_DB == 3.0
    for place in (loss, drop):
        assert np.ptp(place.get_ylim()) >= LEAST_DB * 0.999
    assert np.ptp([rig["length-0"].response([1e3]), rig["length-1"].response([1e3])]) < 0.01


def test_differences_are_what_arrives_less_what_arrives_there(tmp_path, kept):
    rig = au.read_rig(RIG)
    said = save_plot("Pond", rig.pick([]), tmp_path / "pond.pdf", against=rig["near"])
    assert "what arrives and the drop against near from 20 Hz to 20 kHz, near; far" in said
    arrives, drop = kept[0].axes
    assert arrives.get_title(loc="left") == "what arrives, dB over near"
    for place, signal in ((arrives, "receiving"), (drop, "drop")):
        near, far = place.lines[:2]
        f = far.get_xdata()
        np.testing.assert_allclose(near.get_ydata(), 0.0, atol=1e-12)
        series = [metres * (OHM + 2j * np.pi * f * HENRY) for metres in (20.0, 100.0)]
        kept_part = [z / (z + LOAD) if signal == "drop" else LOAD / (z + LOAD) for z in series]
        wanted = 20 * np.log10(np.abs(kept_part[1] / kept_part[0]))
        np.testing.assert_allclose(far.get_ydata(), wanted, atol=2e-3)
        low, high = place.get_ylim()
        assert low < 0.0 < high


def test_what_a_lay_leaves_open_is_a_band(tmp_path, kept):
    """Against the range that the figures state at 20 kHz, which is that of the change by the lay."""
    rig = au.load_rig(DEMO / "lay.toml")
    choice = rig["on-reel"]
    save_plot("Pond", [choice], tmp_path / "pond.svg")
    (band,) = kept[0].axes[0].collections
    (corners,) = (path.vertices for path in band.get_paths())
    at = corners[np.isclose(corners[:, 0], 20_000.0, rtol=1e-9)][:, 1]
    (name,) = choice.network.path(choice.listen)
    spread = lay_figures(choice, name, choice.runs[name].lay).db_20khz
    assert np.ptp(at) == pytest.approx(spread.high - spread.low, rel=1e-6)
    assert "Bands: what the lay of a cable leaves open." in (tmp_path / "pond.svg").read_text()


def test_a_sound_has_a_panel_with_its_third_octaves(tmp_path, kept):
    save_plot("Pond", au.read_rig(RIG).pick([]), tmp_path / "pond.png", sound=SOUND)
    bars = kept[0].axes[-1].patches
    assert len(bars) == 4
    tops = [bar.get_y() + bar.get_height() for bar in bars]
    np.testing.assert_allclose(tops, 10 * np.log10(np.array(SOUND.share) / 0.5), atol=1e-9)
    # Exact bands of IEC 61260-1 meet each other: that of 50 Hz ends where that of 63 Hz begins.
    assert bars[0].get_x() + bars[0].get_width() == pytest.approx(bars[1].get_x(), rel=1e-9)
    assert bars[2].get_x() == pytest.approx(891.251, rel=1e-5)


def test_a_load_that_differs_is_drawn_for_each(tmp_path, kept):
    rig = au.read_rig(
        {**RIG, "choices": {"a": {}, "b": {"loads": {"stage": {"resistance": "8 ohm"}}}}}
    )
    save_plot("Pond", rig.pick([]), tmp_path / "pond.png")
    assert [len(place.lines) for place in kept[0].axes] == [2, 2, 2, 1]  # no resistor has a phase


def test_text_in_an_svg_is_text_and_a_dollar_is_a_dollar(tmp_path):
    rig = au.read_rig({**RIG, "choices": {"a": {"label": "for $5 & _more_$"}, "b": {}}})
    save_plot("Pond", rig.pick([]), tmp_path / "pond.svg")
    text = (tmp_path / "pond.svg").read_text(encoding="utf-8")
    words = re.findall(r"<text[^>]*>([^<]*)</text>", text)
    assert "a: for $5 &amp; _more_$" in words
    assert any(f"{origin()}, rig {rig['a'].fingerprint}" in word for word in words)


def test_silence_is_a_word_and_no_fault(tmp_path, kept):
    rig = au.read_rig({**RIG, "amplifier": {"resistance": "1 ohm"}, "choices": {}})
    rig = au.read_rig({**rig.data, "loads": {"stage": {"type": "short", "nominal": "4 ohm"}}})
    save_plot("Pond", rig.pick([]), tmp_path / "pond.png")
    assert [text.get_text() for text in kept[0].axes[0].texts] == ["silent"]


@pytest.mark.parametrize(
    "size",
    ["16", "16 x 12", "1 x 1 cm", "300 x 300 cm", "x", "16 x 12 x 9 cm", "a x b", "-16 x 12 cm"],
)
def test_a_size_that_cannot_be_is_refused(size, tmp_path, capsys):
    asked = ["plot", str(DEMO / "lobby.toml"), "--into", str(tmp_path), f"--size={size}"]
    assert main(asked) == 2
    assert "right is width x height, such as" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_the_command_draws_in_the_size_and_on_the_paper_that_were_asked(tmp_path, kept):
    options = ["--size", "20 x 5 in", "--dark", "--against", "bell"]
    assert main(["plot", str(DEMO / "lobby.toml"), "--into", str(tmp_path), *options]) == 0
    assert (tmp_path / "lobby.against-bell.50.8x12.7cm.dark.plot.png").is_file()
    assert list(kept[0].get_size_inches()) == [20.0, 5.0]
    assert sum(kept[0].get_facecolor()[:3]) < 0.5
    assert kept[0].axes[0].get_title(loc="left") == "what arrives, dB over bell"


def test_differences_are_taken_at_each_loudspeaker_by_itself(tmp_path, kept):
    path = str(DEMO / "path.toml")
    options = ["--every-load", "--against", "sound", "--choice", "sound"]
    assert main(["plot", path, "--into", str(tmp_path), *options]) == 0
    arrives, drop = kept[0].axes
    for place in (arrives, drop):
        curves = [line for line in place.lines if len(line.get_xdata()) > 2]
        assert len(curves) == 3
        assert all(np.abs(line.get_ydata()).max() < 1e-9 for line in curves)
    (legend,) = kept[0].legends
    names = [text.get_text() for text in legend.get_texts()]
    assert names == ["sound: lawn", "sound: bench", "sound: gate"]
