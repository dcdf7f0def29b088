"""Bands, programme-weighted heat and peaks: figures against sums and formulas of other code."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from auralize_tui.words import key_figures

from auralize.commands.main import main
from auralize.errors import RigError
from auralize.figures.headlines import headline
from auralize.figures.numbers import Figures, figures
from auralize.figures.reference import reference
from auralize.figures.text import as_table
from auralize.gains import level_gain
from auralize.rig.reading import read_rig

SUB = {
    "type": "driver",
    "nominal": "8 ohm",
    "Re": "5.4 ohm",
    "Le": "1.5 mH",
    "fs": "32 Hz",
    "Qms": 5,
    "Qes": 0.4,
    "band": "30 Hz to 120 Hz",
}
OHM, HENRY = 0.010, 0.7e-6
"""Per metre of loop."""


def rig(load: dict | None = None, **more: object):  # type: ignore[type-arg,no-untyped-def]
    return read_rig(
        {
            "amplifier": {"resistance": "0.1 ohm"},
            "cables": {
                "reel": {
                    "construction": "measured",
                    "resistance": "10 ohm/km",
                    "inductance": "0.7 uH/m",
                }
            },
            "runs": {"sluice": {"cable": "reel", "length": "60 m"}},
            "loads": {"hatch": load or SUB},
            **more,
        }
    )


def numbers(load: dict | None = None, **more: object) -> Figures:  # type: ignore[type-arg]
    (choice,) = rig(load, **more).choices.values()
    return figures(choice, (1000.0,))


def by_hand(hertz: float) -> complex:
    """Impedance of that driver in free air."""
    q = 1j * 5.0 * (hertz / 32.0 - 32.0 / hertz)
    return 5.4 + 2j * math.pi * hertz * 1.5e-3 + 5.4 * (5.0 / 0.4) / (1.0 + q)


def wire(hertz: float) -> complex:
    return 60.0 * (OHM + 2j * math.pi * hertz * HENRY)


def loss(hertz: float) -> float:
    return -20.0 * math.log10(abs(1.0 + wire(hertz) / by_hand(hertz)))


# ---- the reference frequency ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("band", "hertz"),
    [
        ((20.0, 20e3), 1000.0),
        ((1000.0, 2000.0), 1000.0),
        ((30.0, 120.0), 63.0),  # the geometric middle is 60 Hz
        ((25.0, 100.0), 50.0),
        ((2000.0, 20e3), 6300.0),  # 6325 Hz
        ((52.0, 60.0), math.sqrt(52.0 * 60.0)),  # no nominal frequency (IEC 61260-1) lies in it
    ],
)
def test_the_reference_lies_in_the_band(band: tuple[float, float], hertz: float) -> None:
    assert reference(band) == pytest.approx(hertz, rel=1e-12)


def test_a_subwoofer_is_judged_where_it_plays() -> None:
    found = numbers()
    assert (found.reference_hz, found.band_hz) == (63.0, (30.0, 120.0))
    assert found.loss_db == pytest.approx(loss(63.0), abs=1e-4)
    band = np.linspace(30.0, 120.0, 5000)
    worst = max((loss(f) - loss(63.0) for f in band), key=abs)
    assert found.deviation_db == pytest.approx(worst, abs=2e-3)
    back = max(abs(0.1 + wire(f)) for f in band)
    assert found.damping_factor == pytest.approx(8.0 / back, rel=1e-4)
    assert found.damping_hz == pytest.approx(120.0)


def test_without_a_band_it_is_1_khz_and_dc() -> None:
    found = numbers({k: v for k, v in SUB.items() if k != "band"})
    assert (found.reference_hz, found.damping_hz, found.band_hz) == (1000.0, 0.0, (20.0, 20e3))
    assert found.loss_db == pytest.approx(loss(1000.0), abs=1e-4)
    assert found.damping_factor == pytest.approx(8.0 / 0.7, rel=1e-6)


def test_the_words_follow_the_frequency() -> None:
    alike = as_table("", [numbers()])
    assert "loss at 63 Hz, dB" in alike
    assert "damping factor at the load (120 Hz)" in alike
    mixed = as_table("", [numbers(), numbers({**SUB, "band": "20 Hz to 20 kHz"}), numbers()])
    assert "1 kHz" in next(
        below
        for line, below in zip(mixed.splitlines(), mixed.splitlines()[1:], strict=False)
        if line.startswith("loss, dB")
    )
    assert max(map(len, mixed.splitlines())) <= 80


def test_the_bench_says_at_which_frequency() -> None:
    (choice,) = rig().choices.values()
    said = key_figures(headline(choice))
    assert said == f"{loss(63.0):+.2f} dB 63 Hz, damping {numbers().damping_factor:.3g}"
    assert len(said) <= 31


@pytest.mark.parametrize(
    "band",
    ["30 Hz", "120 Hz to 30 Hz", "30 Hz,120 Hz", "1 Hz to 120 Hz", "30 Hz to 30 kHz", "a to b"],
)
def test_bands_that_cannot_be_are_refused(
    band: str,
) -> None:
    with pytest.raises(RigError, match=r"loads\.hatch\.band: .*\"30 Hz to 120 Hz\""):
        rig({**SUB, "band": band})


# ---- heat -----------------------------------------------------------------------------------------


def heat(low: float, high: float) -> float:
    """Pink noise as 20 000 tones, equally many in each octave, 0.1 ohm of amplifier before them."""
    f = np.geomspace(low, high, 20_000)
    load = np.array([by_hand(x) for x in f])
    cable = np.array([wire(x) for x in f])
    square = 1.0 / np.abs(0.1 + cable + load) ** 2
    lost, given = (square * cable.real).sum(), (square * (cable + load).real).sum()
    return float(lost / given)


@pytest.mark.parametrize(
    ("band", "low", "high"), [("20 Hz to 20 kHz", 20.0, 20e3), ("30 Hz to 120 Hz", 30.0, 120.0)]
)
@pytest.mark.parametrize("programme", [{}, {"programme": {"voltage": "30 V"}}])
def test_heat_is_weighted_by_pink_noise(
    band: str, low: float, high: float, programme: dict[str, object]
) -> None:
    found = numbers({**SUB, "band": band}, **programme)
    assert found.cable_share == pytest.approx(heat(low, high), rel=2e-3)
    assert found.programme.startswith("pink noise")


def test_heat_under_a_sine_is_that_of_its_frequency() -> None:
    sine = {"voltage": "30 V", "signal": "sine", "frequency": "60 Hz"}
    share = wire(60.0).real / (wire(60.0) + by_hand(60.0)).real
    assert numbers(programme=sine).cable_share == pytest.approx(share, rel=1e-9)


def test_heat_is_what_the_powers_say() -> None:
    found = numbers(programme={"voltage": "30 V"})
    assert found.driven is not None
    burnt = sum(run.watts + run.joint_watts for run in found.driven.runs.values())
    assert found.cable_share == pytest.approx(burnt / found.driven.drawn_watts, rel=1e-9)


def test_the_programme_goes_as_far_as_any_load_plays() -> None:
    both = {"hatch": SUB, "ridge": {"type": "resistor", "resistance": "8 ohm", "at": "sluice"}}
    driven = numbers(loads=both, listen="hatch", programme={"voltage": "30 V"}).driven
    assert driven is not None
    assert driven.signal == "pink noise"
    alone = numbers(programme={"voltage": "30 V"}).driven
    assert alone is not None
    assert alone.signal == "pink noise from 30 Hz to 120 Hz"


# ---- peaks ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("volts", "over"), [("15 V", False), ("28.3 V", True)])
@pytest.mark.parametrize(
    "amplifier",
    [{"damping_factor": 100, "into": "8 ohm"}, {"resistance": "80 mohm", "into": "8 ohm"}],
)
def test_peaks_are_held_against_the_rating(
    volts: str, over: bool, amplifier: dict[str, object]
) -> None:
    """250 W into 8 ohm are 63.2 V peak; 28.3 V at a crest factor of 4 are 113.2 V, 5.06 dB over."""
    found = numbers(programme={"voltage": volts}, amplifier={**amplifier, "rating": "250 W"})
    assert found.driven is not None
    assert found.driven.rated_volts == pytest.approx(math.sqrt(2.0 * 250.0 * 8.0), rel=1e-12)
    wanted = 20.0 * math.log10(4.0 * float(volts[:-2]) / math.sqrt(4000.0))
    assert found.driven.peak_over_db == pytest.approx(wanted, abs=1e-9)
    printed = " ".join(as_table("", [found]).split())
    assert (
        "Caution: its rating allows 63.2 V, and clips peaks that are 5.1 dB over" in printed
    ) == over
    assert ("; its rating allows 63.2 V" in printed) != over


def test_a_choice_with_another_output_keeps_the_rated_load() -> None:
    amplifier = {"damping_factor": 100, "into": "4 ohm", "rating": "250 W"}
    tubes = {"tubes": {"amplifier": {"resistance": "1 ohm"}}}
    driven = numbers(programme={"voltage": "9 V"}, amplifier=amplifier, choices=tubes).driven
    assert driven is not None
    assert driven.rated_volts == pytest.approx(math.sqrt(2.0 * 250.0 * 4.0), rel=1e-12)


def test_without_a_rated_load_nothing_is_said_of_peaks() -> None:
    found = numbers(
        programme={"voltage": "90 V"}, amplifier={"resistance": "80 mohm", "rating": "250 W"}
    )
    assert found.driven is not None
    assert found.driven.peak_over_db is None
    assert "its rating allows" not in as_table("", [found])


DEMO = Path(__file__).parents[2] / "audio_demo"


@pytest.mark.parametrize("name", ["saltmarsh", "lay", "lobby", "path"])
def test_the_demonstrations_own_rigs_do_not_clip(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["figures", str(DEMO / f"{name}.toml"), "--json"]) == 0
    for choice in json.loads(capsys.readouterr().out)["choices"]:
        driven = choice["driven"]
        assert driven is None or driven["peak_over_db"] < 0.0
    if name == "path":
        assert driven["peak_volts"] == pytest.approx(28.3 * math.sqrt(2.0), rel=1e-3)


# ---- matching -------------------------------------------------------------------------------------


def test_levels_are_matched_at_the_reference_as_the_figures_have_it() -> None:
    (choice,) = rig().choices.values()
    sent = abs(choice.response([63.0], "sending")[0])
    wanted = -numbers().loss_db - 20.0 * math.log10(sent)
    assert level_gain(choice, 63.0) == pytest.approx(wanted, abs=1e-9)
