"""What a sweep answers in words."""

from __future__ import annotations

import csv
import itertools
import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from auralize.commands.main import main
from auralize.sweep.answers import as_kept
from auralize.sweep.requirement import Requirement
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
    told = said(capsys, *DRAWN, "--loss", "1.1 dB", *PRICES)
    assert (
        "Cheapest with a largest cable loss of at most 1.1 dB, a metre costing thin 1.20, thick 4.00: "
        "nominal: thin: 100 m of thin for 120.00, 1.02 dB "
        "in at least 95 % of cases: thick: at most 100 m of thick for 400.00; 100 % of its cases do, "
        "95 % have at most 0.4"
    ) in told


def test_prices_and_lengths_are_told_as_people_write_them(capsys):
    steps = ("--steps", "runs.path.length = 10 m to 80 m in 4", "--choice", "thin")
    told = said(capsys, *steps, "--loss", "0.4 dB", "--price", "thin=1.255")
    assert "length of the path run: 10 m, 33.33 m, 56.67 m, 80 m (4 steps)" in told
    assert "a metre costing thin 1.255:" in told
    assert "thin, length of the path run 10 m: 10 m of thin for 12.55" in told


def test_that_none_does_is_told_with_the_nearest(capsys):
    steps = ("--steps", "runs.path.length = 100 m, 80 m")
    told = said(capsys, *steps, *DRAWN, "--damping", "200", *PRICES)
    head = "damping factor of at least 200, a metre costing thin 1.20, thick 4.00: nominal:"
    nearest = "none; nearest is thick, length of the path run 80 m:"
    assert f"{head} {nearest} 80 m of thick for 320.00, 40" in told
    in_most = f"in at least 95 % of cases: {nearest} at most 80 m of thick for 320.00;"
    assert f"{in_most} 0 % of its cases do, 95 % have at least 2" in told


def test_what_matters_most_is_first(capsys):
    options = ("--tolerance", "amplifier.resistance = 0 mohm to 1 mohm", *DRAWN)
    told = said(capsys, *options, "--matters", "heat")
    assert told.index("resistance of the sluice loudspeaker 9.") < told.rindex(
        "resistance of the amplifier 0.0%"
    )
    assert "each alone over its range, all else nominal" in told


def test_several_limits_are_told_together(capsys):
    """By the divider 1/9 of the power and a damping factor of 8 for thin, 0.25/8.25 and 32 for thick."""
    options = (*DRAWN, "--loss", "1.1 dB", "--damping", "10", "--heat", "20 %", *PRICES)
    told = said(capsys, *options)
    assert (
        "Cheapest with a largest cable loss of at most 1.1 dB and damping factor of at least 10 and "
        "share of programme power lost in cable of at most 20 %" in told
    )
    assert (
        "nominal: thick: 100 m of thick for 400.00, 0.27 dB loss, 32.0 damping, 3.0% heat" in told
    )


def test_two_stepped_values_are_a_table(capsys):
    """Of 8 ohm and 1 ohm of cable 8/9 arrives, -1.02 dB; of half or twice of one of them -0.53 dB."""
    steps = ("runs.path.length = 50 m, 100 m", "loads.sluice.resistance = 8 ohm, 16 ohm")
    told = said(capsys, "--steps", steps[0], "--steps", steps[1], "--loss", "0.6 dB")
    assert "thin: 8 ohm 16 ohm 50 m -0.53* -0.27* 100 m -1.02 -0.53* thick:" in told


def test_without_prices_it_is_told_how_many_cases_keep_a_limit(capsys):
    told = said(capsys, *DRAWN, "--loss", "0.6 dB", "--heat", "99 %")
    assert "of at most 99 %: thin 0 %, thick 100 %" in told


def test_a_share_is_told_no_higher_than_it_is():
    """Of 10 000 cases 9 496 keep it, which are not 95 %."""
    found = SimpleNamespace(
        choice="thin", reference_hz=np.ones(1), cable_share=np.repeat([0.1, 0.3], [9_496, 504])
    )
    assert as_kept([found], [Requirement("heat", 0.2)]).endswith("thin 94.9 %")


def test_what_was_asked_is_in_the_facts_by_columns_of_the_table(capsys, tmp_path):
    """Counted over the rows of the table itself, and by the divider, to which 20 kHz adds 4e-5 of its dB."""
    options = (*DRAWN, "--loss", "0.35 dB", "--damping", "10", *PRICES, "--matters", "damping")
    said(capsys, *options)
    (table,) = tmp_path.glob("*.loss-0.35dB.damping-10.priced-*.damping-matters.csv")
    facts = Path(f"{table}.json").read_bytes()
    told = json.loads(facts)["answers"]
    assert told["limits"] == [
        {"column": "worst_loss_db", "least": -0.35},
        {"column": "damping_factor", "least": 10.0},
    ]
    with table.open() as file:
        rows = [row for row in csv.DictReader(file) if row["choice"] == "thick"]
    keeps = [float(r["worst_loss_db"]) >= -0.35 and float(r["damping_factor"]) >= 10 for r in rows]
    assert 0.0 < told["kept"]["thick"] == np.mean(keeps) < 0.95
    assert told["kept"]["thin"] == 0.0
    least, most = told["cheapest"]["nominal"], told["cheapest"]["in_most"]
    assert (least["meets"], least["choice"], least["metres"]) == (True, "thick", {"thick": 100.0})
    assert least["figures"]["worst_loss_db"] == pytest.approx(20 * np.log10(8 / 8.25), rel=1e-4)
    assert least["figures"]["damping_factor"] == pytest.approx(32.0)
    assert (most["meets"], most["share"]) == (False, told["kept"]["thick"])
    losses = np.sort([float(row["worst_loss_db"]) for row in rows])
    assert most["figures"]["worst_loss_db"] == losses[2]  # of 40, 38 lose no more
    assert told["matters"]["column"] == "damping_factor"
    (value,) = told["matters"]["values"]
    assert value["place"] == "loads.sluice.resistance"
    ends = {"low": 4.8, "high": 11.2, "swing": pytest.approx(6.4)}  # of 8 ohm, over 1 ohm
    assert value["choices"]["thin"] == pytest.approx(ends)
    assert set(told) - {"fields"} <= set(told["fields"])
    said(capsys, *options)
    assert Path(f"{table}.json").read_bytes() == facts


def test_the_table_has_a_row_for_each_case_and_choice_and_units_in_its_head(capsys, tmp_path):
    """Losses by the divider: joints and 10 ohm/km before 8 ohm."""
    steps = ("length = 10 m, 40 m", "near = 0 ohm, 10 mohm", "cable = thin, thick")
    options = (option for step in steps for option in ("--steps", f"runs.path.{step}"))
    said(capsys, *options, "--choice", "thin")
    (table,) = tmp_path.glob("*.csv")
    with table.open() as file:
        head, *rows = csv.reader(file)
    places = ["runs.path.length_m", "runs.path.near", "runs.path.cable"]
    assert head[:6] == ["case", *places, "choice", "loss_db"]
    expected = list(itertools.product(("10.0", "40.0"), ("0 ohm", "10 mohm"), ("thin", "thick")))
    assert [tuple(row[:5]) for row in rows] == [
        (str(number), *values, "thin") for number, values in enumerate(expected, 1)
    ]
    ohms = [  # a joint in each conductor
        float(metres) * {"thin": 0.01, "thick": 0.0025}[cable] + 0.02 * (joint == "10 mohm")
        for metres, joint, cable in expected
    ]
    losses = [float(row[5]) for row in rows]
    assert losses == pytest.approx(20 * np.log10(8 / (8 + np.array(ohms))), rel=1e-4)
    facts = json.loads(Path(f"{table}.json").read_text())
    assert (facts["cases"], facts["seed"]) == (8, None)
    deviation = head.index("deviation_db")
    largest = max(abs(float(row[deviation])) for row in rows)
    assert facts["choices"][0]["range"]["deviation_db"]["most"] == pytest.approx(largest)


def test_what_is_drawn_is_told_with_its_law_and_unit(capsys, tmp_path):
    tolerances = ("cables.thin.resistance = 10 ohm/km +- 1 ohm/km as 2 sigma", DRAWN[1])
    options = (option for one in tolerances for option in ("--tolerance", one))
    said(capsys, *options, "--draws", "3")
    (beside,) = tmp_path.glob("*.json")
    told = json.loads(beside.read_text())
    assert told["seed"] == 1
    assert told["tolerances"] == [
        {
            "place": "cables.thin.resistance",
            "law": "normal",
            "unit": "ohm/km",
            "nominal": "10.0 ohm/km",
            "mean": 10.0,
            "sigma": 0.5,
        },
        {
            "place": "loads.sluice.resistance",
            "law": "uniform",
            "unit": "ohm",
            "nominal": "8.0 ohm",
            "low": pytest.approx(4.8),
            "high": pytest.approx(11.2),
        },
    ]
    head = beside.with_suffix("").read_text().splitlines()[0]
    assert head.startswith(
        "case,cables.thin.resistance_ohm_per_km,loads.sluice.resistance_ohm,choice,loss_db,"
    )


def test_what_is_asked_otherwise_is_another_result(capsys, tmp_path):
    for asked in (("0.4 dB", "2"), ("0.4 dB", "3"), ("0.5 dB", "3"), ("0.5 dB", "3")):
        said(
            capsys, *DRAWN, "--loss", asked[0], "--price", "thin=1", "--price", f"thick={asked[1]}"
        )
    assert len(list(tmp_path.glob("*.csv"))) == 3
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    said(capsys, *DRAWN, "--price", "thick=3", "--price", "thin=1", "--loss", "0.50")
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


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
        (PRICES, "--price needs a limit; right is one of --loss, --deviation"),
        ((*PRICES, "--damping", "1 dB"), "--damping: '1 dB' was found; right is a factor such as"),
        (("--price", "thin", "--loss", "1 dB"), "--price: 'thin' was found; right is"),
        (("--price", "thin=1", "--loss", "1 dB"), "price: cable 'thick' has none"),
        (
            (*PRICES, "--price", "thin=2", "--loss", "1 dB"),
            "--price: 1.2 and 2 were found for thin",
        ),
    ],
)
def test_what_cannot_be_asked_is_refused(capsys, options, right):
    assert main((*SWEEP, *DRAWN, *options)) == BAD_INPUT
    assert right in capsys.readouterr().err


def test_a_file_says_the_same(capsys, tmp_path):
    (tmp_path / "sweep.toml").write_text(
        'draws = 40\nlimits.loss = "1.1 dB"\ntolerances.loads.sluice.resistance = "8 ohm +- 40 %"\n'
        "[prices]\nthin = 1.20\nthick = 4\n"
    )
    by_file = said(capsys, "sweep.toml")
    assert by_file == said(capsys, *DRAWN, "--loss", "1.1 dB", *PRICES)
    (tmp_path / "sweep.toml").write_text('limits.heat = "2 dB"')
    assert main((*SWEEP, "sweep.toml", *DRAWN)) == BAD_INPUT
    assert "limits.heat: '2 dB' was found; right is a share such as" in capsys.readouterr().err
    (tmp_path / "sweep.toml").write_text("limits.quiet = 1")
    assert main((*SWEEP, "sweep.toml", *DRAWN)) == BAD_INPUT
    assert "limits.quiet" in capsys.readouterr().err
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
        ("[limits]", "limits: this table is empty; right is"),
        ("prices.thin = 1", "--price needs a limit; right is one of"),
        ("limits.loss = '1 W'\nprices.thin = 1", "limits.loss: '1 W' was found; right is a level"),
        ("limits.loss = '1 dB'\nprices.tin = 1", "price: there is no cable 'tin'"),
        ("limits.loss = '1 dB'\nprices.thin = 1", "price: cable 'thick' has none"),
    ],
)
def test_what_a_file_says_wrongly_is_told_with_its_name(capsys, tmp_path, said, right):
    (tmp_path / "vary.toml").write_text(said)
    assert main((*SWEEP, "vary.toml", *DRAWN)) == BAD_INPUT
    assert capsys.readouterr().err.startswith(f"auralize: vary.toml: {right}")


def test_the_file_may_stand_behind_options(capsys, tmp_path):
    (tmp_path / "vary.toml").write_text(
        "limits.loss = '1.1 dB'\nprices.thin = 1.2\nprices.thick = 4"
    )
    wanted = said(capsys, "vary.toml", *DRAWN)
    assert said(capsys, *DRAWN, "vary.toml") == wanted
    assert said(capsys, *DRAWN[:2], "vary.toml", *DRAWN[2:]) == wanted


def test_a_price_of_an_option_is_not_laid_to_the_file(capsys, tmp_path):
    (tmp_path / "vary.toml").write_text("limits.loss = '1 dB'\nprices.thin = 1\nprices.thick = 2")
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
