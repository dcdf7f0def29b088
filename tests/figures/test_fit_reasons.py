"""Where nothing will do `fit` says what breaks the tolerance; what transformers lose is not the cable's."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.sizing import (
    SHORTEST_RUN,
    Measure,
    counted,
    departure,
    only,
    transformers_alone,
    without_resistance,
)
from auralize.commands.main import main
from auralize.figures.fit import Fit, fit
from auralize.figures.fit_text import as_fits
from auralize.figures.numbers import figures
from auralize.rig.reading import load_rig

RIG = """
{top}
[amplifier]
resistance = "{amplifier}"
[cables.reel]
construction = "single cores"
conductor = "2.5 mm2"
spacing = "{spacing}"
[runs.sluice]
cable = "reel"
length = "{length} m"
{run}
[loads.hatch]
type = "resistor"
resistance = "8 ohm"
{load}
"""
PLAIN = {
    "top": "", "amplifier": "40 mohm", "spacing": "4 mm", "length": 40, "run": "", "load": "",
}  # fmt: skip
APART = """
[runs.sluice.lay]
shape = "split coils"
mean_diameter = "20 cm"
coiled = "12 m"
distance = "60 cm"
"""
TAP = 'at = "tap"\n[transformers.tap]\nfrom = "sluice"\nline = "100 V"\ntap = "50 W"\nsecondary = "8 ohm"'
SPUR = 'at = "spur"\n[runs.spur]\ncable = "reel"\nfrom = "sluice"\nlength = "{} m"\n'


def written(folder: Path, **more: object) -> Path:
    path = folder / "sluice.toml"
    path.write_text(RIG.format(**{**PLAIN, **more}), encoding="utf-8")
    return path


def fitted(path: Path, kind: str, tolerance: float, run: str | None = "sluice", **more: str) -> Fit:
    rig = load_rig(path)
    (choice,) = rig.choices.values()
    return fit(rig, choice, run, kind, tolerance, **more)  # type: ignore[arg-type]


def told(found: Fit, kind: str, tolerance: float) -> str:
    return " ".join(as_fits("", [found], kind, tolerance).split())  # type: ignore[arg-type]


# ---- lengths --------------------------------------------------------------------------------------


def test_the_coil_alone(tmp_path: Path) -> None:
    """The run as short as its coil, all else as it is: the amplifier's output plays no part in a loss."""
    found = fitted(written(tmp_path, run=APART), "loss", 0.5)
    shortest = load_rig(written(tmp_path, run=APART, length=12))["as-described"]
    worst = -min(line.loss_db for line in figures(shortest, (20.0, 1e3, 10e3, 20e3)).lines)
    (why,) = found.no_length
    assert (found.longest, found.shortest) == (None, 12.0)
    assert why.words == "the coil of sluice alone breaks it"
    assert why.value == pytest.approx(worst, rel=1e-3)
    printed = told(found, "loss", 0.5)
    assert f"no length from 12 m (39.4 ft) on will do: {why.words} ({worst:.2f} dB)." in printed


def test_a_coil_that_is_short_enough_leaves_a_length(tmp_path: Path) -> None:
    found = fitted(written(tmp_path, run=APART.replace("12 m", "2 m")), "loss", 1.5)
    assert found.longest is not None
    assert found.longest > 2.0
    assert found.no_length == ()


def test_turns_that_are_the_whole_run_cannot_be_fewer(tmp_path: Path) -> None:
    """10 turns of 20 cm are 6.283 m of each conductor: the rig refuses a shorter run, fit asks for none."""
    turns = APART.replace('coiled = "12 m"', "turns = 10")
    found = fitted(written(tmp_path, run=turns, length=10 * math.pi * 0.2), "loss", 6.0)
    assert found.shortest == pytest.approx(10 * math.pi * 0.2, rel=1e-12)
    assert found.longest is not None
    assert found.longest > found.shortest


def test_a_cable_without_a_field_is_as_long_coiled_as_straight(tmp_path: Path) -> None:
    """Of a four-core's lay the rig takes no notice, whatever it says."""
    path = written(tmp_path, run='[runs.sluice.lay]\nshape = "coiled"\ncoiled = "all but 2 m"')
    four = path.read_text(encoding="utf-8").replace("single cores", "four-core")
    path.write_text(four.replace("spacing =", 'lay_length = "90 mm"\nspacing ='), encoding="utf-8")
    coiled = fitted(path, "loss", 0.5)
    path.write_text(
        path.read_text(encoding="utf-8").replace("all but 2 m", "9 m"), encoding="utf-8"
    )
    assert coiled == fitted(path, "loss", 0.5)
    assert (coiled.shortest, coiled.no_length) == (SHORTEST_RUN, ())


def test_the_other_run_alone(tmp_path: Path) -> None:
    """60 m of 2.5 mm2 are 0.83 ohm beside 8; skin effect adds under 3 % to that at 20 kHz."""
    found = fitted(written(tmp_path, load=SPUR.format(60)), "heat", 0.05)
    cable = 60.0 * 2.0 * 1.7241e-8 / 2.5e-6
    assert [why.words for why in found.no_length] == ["run spur alone breaks it"]
    assert found.no_length[0].value == pytest.approx(cable / (cable + 8.0), rel=0.03)


def test_the_amplifiers_output_alone(tmp_path: Path) -> None:
    found = fitted(written(tmp_path, amplifier="1 ohm"), "damping", 10.0)
    assert [(why.words, why.value) for why in found.no_length] == [
        ("the amplifier's output alone breaks it", pytest.approx(1.0 / 8.0, rel=1e-6))
    ]
    assert "breaks it (8.00)" in told(found, "damping", 10.0)
    assert fitted(written(tmp_path, amplifier="1 ohm"), "loss", 0.5).longest is not None


def test_a_transformer_alone(tmp_path: Path) -> None:
    """At 1 kHz windings of 10^(1/20) - 1 of the rated load, and a leakage of 1/25 of it: a factor of 7.8."""
    found = fitted(written(tmp_path, load=TAP), "damping", 10.0)
    (why,) = found.no_length
    assert why.words == "transformer tap alone breaks it"
    assert why.value == pytest.approx(abs(10.0**0.05 - 1.0 + 1j / 25.0), rel=0.01)
    assert "all of them count" in told(found, "damping", 10.0)


def test_no_part_alone_but_all_together(tmp_path: Path) -> None:
    parts = {"run": 'far = "0.2 ohm"', "load": 'contact = "0.2 ohm"'}
    found = fitted(written(tmp_path, **parts), "loss", 0.6)
    assert [why.words for why in found.no_length] == [
        "no part alone breaks it, but all together do"
    ]
    assert found.no_length[0].value == pytest.approx(20.0 * math.log10(8.8 / 8.0), rel=0.01)


# ---- sizes ----------------------------------------------------------------------------------------


def test_thicker_copper_does_not_help_against_inductance(tmp_path: Path) -> None:
    """Cores a metre apart: omega L of the rig's own figures beside 8 ohm at 20 kHz, without resistance."""
    path = written(tmp_path, spacing="1 m")
    found = fitted(path, "deviation", 1.0)
    assert found.metric is not None
    assert (found.metric.thinnest, found.metric.largest) == (None, "16 mm2")
    thickest = path.read_text(encoding="utf-8").replace("2.5 mm2", "16 mm2")
    path.write_text(thickest, encoding="utf-8")
    lines = figures(load_rig(path)["as-described"], (1e3, 20e3)).lines
    low, high = (
        20.0 * math.log10(abs(8.0 + 2j * math.pi * line.frequency * line.cable_uh * 1e-6))
        for line in lines
    )
    (why,) = found.metric.why
    assert why.words == "thicker copper does not help, as its inductance alone breaks it"
    assert why.value == pytest.approx(high - low, rel=1e-3)
    assert f"none of the sizes will do: {why.words}" in told(found, "deviation", 1.0)


def test_thicker_copper_would_help(tmp_path: Path) -> None:
    """40 m of 16 mm2 are 86 mohm beside 8 ohm."""
    found = fitted(written(tmp_path), "heat", 0.005)
    assert found.metric is not None
    assert [why.words for why in found.metric.why] == ["it takes thicker copper"]


def test_no_size_helps_against_joints(tmp_path: Path) -> None:
    found = fitted(written(tmp_path, run='far = "1 ohm"'), "loss", 1.0)
    assert found.metric is not None
    assert [why.words for why in found.metric.why] == ["the joints of sluice alone break it"]


# ---- transformers ---------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["loss", "deviation"])
def test_what_a_transformer_loses_itself_is_not_the_cables(kind: str, tmp_path: Path) -> None:
    """At the length that is found the rig is worse by the tolerance than with next to no cable."""
    tolerance = 0.3
    found = fitted(written(tmp_path, load=TAP), kind, tolerance)
    assert found.longest is not None
    at = tuple(20.0 * 1000.0 ** (n / 400) for n in range(401))

    def losses(length: float) -> list[float]:
        rig = load_rig(written(tmp_path, load=TAP, length=repr(length)))
        return [line.loss_db for line in figures(rig["as-described"], (1000.0, *at)).lines]

    first, *cable = (
        none - some for some, none in zip(losses(found.longest), losses(0.01), strict=True)
    )
    worst = max(cable) if kind == "loss" else max(abs(loss - first) for loss in cable)
    assert worst == pytest.approx(tolerance, rel=2e-3)
    assert "not what the transformers lose themselves" in told(found, kind, tolerance)


# ---- the command ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--loss", "1", "--cable", "rel"], "of 'rel' (did you mean 'reel'?)"),
        (
            ["--loss", "1", "--band", "120 Hz"],
            "--band: '120 Hz' was found; right is a band such as",
        ),
        (["--damping", "0"], "--damping: '0' was found; right is a factor such as 20"),
        (["--damping", "much"], "right is a factor such as 20"),
    ],
)
def test_what_cannot_be_asked_is_refused(
    options: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["fit", str(written(tmp_path)), *options]) == 2
    assert said in capsys.readouterr().err


def test_a_run_and_a_cable_are_not_fitted_together(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["fit", str(written(tmp_path)), "--loss=1", "--run=sluice", "--cable=reel"])
    assert "not allowed with argument" in capsys.readouterr().err


def test_a_band_on_the_command_line_is_that_of_the_rig(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    band = "40 Hz to 160 Hz"
    for load, more in (("", ["--band", band]), (f'band = "{band}"', [])):
        assert main(["fit", str(written(tmp_path, load=load)), "--deviation", "0.5", *more]) == 0
    first, second = capsys.readouterr().out.split("sluice\nup to")[1:]
    assert first.strip() == second.strip()
    assert "0.5 dB deviation from 80 Hz, 40 Hz to 160 Hz" in first


def test_a_cable_has_a_size_and_no_length(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, load=SPUR.format(20))
    assert main(["fit", str(path), "--damping", "10", "--cable", "reel"]) == 0
    printed = capsys.readouterr().out
    assert "sluice, spur" in printed
    assert "60 m (197 ft)" in printed
    assert "longest" not in printed
    assert "damping factor of 10 or more, at DC" in printed


def test_what_a_lay_adds_is_part_of_its_run(tmp_path: Path) -> None:
    """Lost with it, and its resistance with that of the copper."""
    (tmp_path / "rig.toml").write_text(RIG.format(**PLAIN))
    (choice,) = load_rig(tmp_path / "rig.toml").pick([])
    run = replace(choice.network.runs["sluice"], added=lambda f: np.full((2, len(f)), 1.0 + 2.0j))
    network, f = replace(choice.network, runs={"sluice": run}), np.array([100.0, 10_000.0])
    assert np.abs(only(network).runs["sluice"].series(f)).max() < 1e-9
    kept = only(network, runs=["sluice"]).runs["sluice"]
    np.testing.assert_array_equal(kept.series(f), run.series(f))
    bare = without_resistance(network, ["sluice"]).runs["sluice"]
    np.testing.assert_array_equal(bare.series(f), 1j * run.series(f).imag)
    np.testing.assert_array_equal(bare.by_conductor(f), 1j * run.by_conductor(f).imag)
    assert transformers_alone(network).amplifier is network.amplifier


def test_the_worst_is_at_the_lowest_of_several_frequencies(tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(RIG.format(**PLAIN))
    (choice,) = load_rig(tmp_path / "rig.toml").pick([])
    measure = Measure(np.array([20.0, 100.0, 1000.0]), lambda _: np.array([1.0, 3.0, 3.0]))
    assert (measure(choice.network), measure.worst(choice.network)) == (3.0, 100.0)


def test_silence_of_what_is_not_to_count_takes_nothing_off() -> None:
    """Of a transformer at 0 Hz, as of all behind it."""
    loss, own = np.array([-3.0, -np.inf, -3.0]), np.array([-1.0, -np.inf, -np.inf])
    np.testing.assert_array_equal(counted(loss, own), [-2.0, -np.inf, -3.0])
    levels = np.array([[-3.0, -1.0, -4.0], [-np.inf, -1.0, -4.0], [-3.0, -1.0, -np.inf]])
    np.testing.assert_array_equal(departure(levels), [[2.0, 1.0], [np.inf] * 2, [np.inf] * 2])
