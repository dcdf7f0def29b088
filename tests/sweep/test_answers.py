"""What a sweep answers in words."""

from __future__ import annotations

import json

import numpy as np
import pytest

from auralize.commands.main import main
from support.command import BAD_INPUT, OK, RIG

SWEEP = ("sweep", "sluice.toml")
DRAWN = ("--tolerance", "loads.sluice.resistance = 8 ohm +- 40 %", "--draws", "40")
PRICES = ("--price", "thin=1.20", "--price", "thick=4")


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sluice.toml").write_text(RIG, encoding="utf-8")


def said(capsys, *options):
    assert main((*SWEEP, *options)) == OK
    return " ".join(capsys.readouterr().out.split())


def test_the_cheapest_is_told_nominally_and_in_most_cases(capsys):
    """1 ohm of cable before 8 ohm loses 1.02 dB, before 4.8 ohm 1.64; a quarter of it a third of that."""
    told = said(capsys, *DRAWN, "--meets", "loss 1.1 dB", *PRICES)
    assert (
        "Cheapest with a loss at 1 kHz of at most 1.1 dB, a metre costing thin 1.20, thick 4.00: "
        "nominal: thin: 100 m of thin for 120.00, 1.02 dB "
        "in at least 95 % of cases: thick: 100 m of thick for 400.00; 100 % of its cases do, "
        "95 % have at most 0.4"
    ) in told


def test_prices_and_lengths_are_told_as_people_write_them(capsys):
    steps = ("--steps", "runs.path.length = 10 m to 80 m in 4", "--choice", "thin")
    told = said(capsys, *steps, "--meets", "loss 0.4 dB", "--price", "thin=1.255")
    assert "length of the path run: 10 m, 33.33 m, 56.67 m, 80 m (4 steps)" in told
    assert "a metre costing thin 1.255:" in told
    assert "thin, length of the path run 10 m: 10 m of thin for 12.55" in told


def test_that_none_does_is_told_with_the_nearest(capsys):
    steps = ("--steps", "runs.path.length = 100 m, 80 m")
    told = said(capsys, *steps, *DRAWN, "--meets", "damping 200", *PRICES)
    nearest = "none; nearest is thick, length of the path run 80 m: 80 m of thick for 320.00"
    assert (
        f"damping factor of at least 200, a metre costing thin 1.20, thick 4.00: nominal: {nearest}, 40"
        in told
    )
    assert (
        f"in at least 95 % of cases: {nearest}; 0 % of its cases do, 95 % have at least 2" in told
    )


def test_what_matters_most_is_first(capsys):
    options = ("--tolerance", "amplifier.resistance = 0 mohm to 1 mohm", *DRAWN)
    told = said(capsys, *options, "--matters", "heat")
    assert told.index("resistance of the sluice loudspeaker 9.") < told.rindex(
        "resistance of the amplifier 0.0%"
    )
    assert "each alone over its range, all else nominal" in told


@pytest.mark.parametrize(("kind", "unit"), [("loss", " in dB"), ("damping", "")])
def test_what_matters_is_told_with_its_unit(capsys, kind, unit):
    assert f"most{unit}, each alone" in said(capsys, *DRAWN, "--matters", kind)


def test_steps_alone_have_no_percentages(capsys, tmp_path):
    told = said(capsys, "--steps", "runs.path.length = 10 m to 100 m in 4", "--choice", "thin")
    assert "nominal least median most worst in case" in told
    # 1 ohm a 100 m before 8 ohm: 20 lg (8/9) at 100 m, 20 lg (8/8.7) at 70 m, 20 lg (8/8.1) at 10 m
    assert "loss at 1 kHz, dB -1.02 -1.02 -0.73 -0.11 -1.02 4" in told
    (beside,) = tmp_path.glob("*.json")
    (choice,) = json.loads(beside.read_text())["choices"]
    assert choice["range"]["loss_db"] == pytest.approx(
        {
            "least": 20 * np.log10(8 / 9),
            "median": 20 * np.log10(8 / 8.7),
            "most": 20 * np.log10(8 / 8.1),
        },
        rel=1e-6,  # inductance of 1 nH/m
    )
    assert "percentiles" not in choice


def test_the_help_fits_a_terminal(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    with pytest.raises(SystemExit):
        main(("sweep", "--help"))
    told = capsys.readouterr().out
    assert "nominal" in told
    assert max(map(len, told.splitlines())) <= 80


@pytest.mark.parametrize(
    ("options", "right"),
    [
        (("--meets", "loss 1 dB"), "--meets needs --price"),
        (PRICES, "--meets needs --price"),
        (
            (*PRICES, "--meets", "quiet 1 dB"),
            "meets: 'quiet 1 dB' was found; right is one of loss",
        ),
        (
            (*PRICES, "--meets", "damping 1 dB"),
            "meets: '1 dB' was found; right is a factor such as 20",
        ),
        (("--price", "thin", "--meets", "loss 1 dB"), "--price: 'thin' was found; right is"),
        (("--price", "thin=1", "--meets", "loss 1 dB"), "price: cable 'thick' has none"),
    ],
)
def test_what_cannot_be_asked_is_refused(capsys, options, right):
    assert main((*SWEEP, *DRAWN, *options)) == BAD_INPUT
    assert right in capsys.readouterr().err


def test_a_file_says_the_same(capsys, tmp_path):
    (tmp_path / "sweep.toml").write_text(
        'draws = 40\nmeets = "loss 1.1 dB"\ntolerances.loads.sluice.resistance = "8 ohm +- 40 %"\n'
        "[prices]\nthin = 1.20\nthick = 4\n"
    )
    by_file = said(capsys, "sweep.toml")
    assert by_file == said(capsys, *DRAWN, "--meets", "loss 1.1 dB", *PRICES)
    (tmp_path / "sweep.toml").write_text("prices.thin = -1")
    assert main((*SWEEP, "sweep.toml", *DRAWN)) == BAD_INPUT
    assert (
        "sweep.toml: prices.thin: -1 was found; right is a number from 0" in capsys.readouterr().err
    )


@pytest.mark.parametrize(
    ("said", "right"),
    [
        ("tolerances.runs.path.length = '62 m'", "tolerance: 'runs.path.length = 62 m' was found"),
        ("tolerances.runs.pier.length = '+- 2 m'", "tolerance: 'runs.pier.length = +- 2 m' was"),
        ("steps.runs.path.length = '62 m'", "steps: 1 of runs.path.length were found"),
        ("steps.runs.path.length = []", "steps.runs.path.length: [] was found; right is a text"),
        ("[tolerances]", "tolerances: this table is empty; right is"),
        ("[steps]", "steps: this table is empty; right is"),
        ("[steps.runs.path]", "steps.runs.path: this table is empty; right is"),
        ("[prices]", "prices: this table is empty; right is"),
        (
            "steps.runs.path.length = ['1 m', '2 m']\ntolerances.runs.path.length = '3 m +- 1 m'",
            "runs.path.length and runs.path.length say the same",
        ),
        ("meets = 'loss 1 dB'", "--meets needs --price"),
        ("meets = 'loss 1 W'\nprices.thin = 1", "meets: '1 W' was found; right is a level"),
        ("meets = 'loss 1 dB'\nprices.tin = 1", "price: there is no cable 'tin'"),
        ("meets = 'loss 1 dB'\nprices.thin = 1", "price: cable 'thick' has none"),
    ],
)
def test_what_a_file_says_wrongly_is_told_with_its_name(capsys, tmp_path, said, right):
    (tmp_path / "vary.toml").write_text(said)
    assert main((*SWEEP, "vary.toml", *DRAWN)) == BAD_INPUT
    assert capsys.readouterr().err.startswith(f"auralize: vary.toml: {right}")


def test_the_file_may_stand_behind_options(capsys, tmp_path):
    (tmp_path / "vary.toml").write_text(
        "meets = 'loss 1.1 dB'\nprices.thin = 1.2\nprices.thick = 4"
    )
    wanted = said(capsys, "vary.toml", *DRAWN)
    assert said(capsys, *DRAWN, "vary.toml") == wanted
    assert said(capsys, *DRAWN[:2], "vary.toml", *DRAWN[2:]) == wanted


def test_a_price_of_an_option_is_not_laid_to_the_file(capsys, tmp_path):
    (tmp_path / "vary.toml").write_text("meets = 'loss 1 dB'\nprices.thin = 1\nprices.thick = 2")
    assert main((*SWEEP, "vary.toml", *DRAWN, "--price", "tick=1")) == BAD_INPUT
    assert capsys.readouterr().err.startswith("auralize: price: there is no cable 'tick'")


@pytest.mark.parametrize(
    ("options", "who"),
    [((), "vary.toml says"), (DRAWN, "vary.toml and options say")],
)
def test_a_value_that_no_rig_can_have_is_told_with_who_says_so(capsys, tmp_path, options, who):
    (tmp_path / "vary.toml").write_text("steps.runs.path.length = '1 m, 900 km'")
    assert main((*SWEEP, "vary.toml", *options)) == BAD_INPUT
    told = capsys.readouterr().err
    assert told.startswith(
        "auralize: sluice.toml: choices.thin.runs.path.length: '900 km' was found"
    )
    assert told.endswith(f", as {who}\n")
