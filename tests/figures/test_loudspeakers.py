"""The table by loudspeaker, against own loops over the solved circuit, and against closed forms."""

import csv
import io
import json
import math

import numpy as np
import pytest

from auralize.circuit.solution import solve, source_impedance
from auralize.commands.main import main
from auralize.figures import data
from auralize.figures.numbers import figures
from auralize.figures.text import as_table
from auralize.rig.reading import read_rig
from support.small_driver import SMALL_DRIVER, THIN

RIG = {
    "amplifier": {"resistance": "40 mohm"},
    "programme": {"voltage": "20 V"},
    "cables": {"thin": THIN},
    "runs": {"path": {"cable": "thin", "length": "30 m"}},
    "loads": {"lamp": {**SMALL_DRIVER, "count": 20, "spacing": "5 m", "along": "path"}},
}
DIVIDER = {
    "amplifier": {"resistance": "0 ohm"},
    "cables": {
        "reel": {"construction": "measured", "resistance": "10 mohm/m", "inductance": "1 nH/m"}
    },
    "runs": {
        "near": {"cable": "reel", "length": "100 m"},
        "far": {"cable": "reel", "length": "100 m", "from": "near"},
    },
    "loads": {
        "hut": {"type": "resistor", "resistance": "8 ohm", "at": "near"},
        "barn": {"type": "resistor", "resistance": "4 ohm", "at": "far", "band": "50 Hz to 200 Hz"},
    },
    "listen": "hut",
}


def only(rig):
    (choice,) = read_rig(rig).choices.values()
    return choice


def test_each_of_twenty_is_what_a_loop_over_the_circuit_finds():
    choice = only(RIG)
    found = figures(choice, (1000.0,)).loudspeakers
    assert [one.load for one in found] == [f"lamp {n}" for n in range(1, 21)]
    f = np.geomspace(20.0, 20_000.0, 3001)
    wide, at_1k = solve(choice.network, f), solve(choice.network, [1000.0])

    def mean(values):
        return np.trapezoid(values, np.log(f)) / np.log(1000.0)

    sent = mean(np.abs(wide.sending) ** 2)
    means = [mean(np.abs(wide.receiving[one.load]) ** 2) for one in found]
    for one, square in zip(found, means, strict=True):
        name = one.load
        ratio = abs(at_1k.receiving[name] / at_1k.sending)[0]
        assert one.loss_db == pytest.approx(20 * math.log10(ratio), rel=1e-9)
        # The product sums at 601 points instead of 3001.
        assert one.level_db == pytest.approx(10 * math.log10(square / means[0]), abs=2e-4)
        back = abs(source_impedance(choice.network, name, [0.0])[0])
        assert one.damping_factor == pytest.approx(8.0 / back, rel=1e-9)
        current = np.abs(wide.current[name]) ** 2
        drawn = 400.0 * mean(current * choice.loads[name].connected.load.impedance(f).real) / sent
        assert one.watts == pytest.approx(drawn, rel=1e-3)
    losses = [one.loss_db for one in found]
    assert losses == sorted(losses, reverse=True)


def test_two_resistors_are_the_divider_that_they_look_like():
    """Ohm's law: 1 ohm to 8 ohm, beside another 1 ohm to 4 ohm; 0.2 uH of cable are 1e-5 dB."""
    hut, barn = figures(only(DIVIDER), (1000.0,)).loudspeakers
    at_hut = (8 * 5 / 13) / (1 + 8 * 5 / 13)
    at_barn = at_hut * 4 / 5
    assert hut.loss_db == pytest.approx(20 * math.log10(at_hut), abs=1e-6)
    assert barn.loss_db == pytest.approx(20 * math.log10(at_barn), abs=1e-6)
    assert (hut.level_db, barn.level_db) == (0.0, pytest.approx(20 * math.log10(0.8), abs=1e-5))
    assert hut.damping_factor == pytest.approx(8 / (5 / 6), rel=1e-6)
    assert barn.damping_factor == pytest.approx(4 / (1 + 8 / 9), rel=1e-6)
    assert barn.reference_hz == 100.0
    assert (hut.watts, barn.watts) == (None, None)


def test_a_tap_of_half_the_power_is_3_db_lower():
    """Of a constant-voltage line; the transformers' own losses differ by little."""
    rig = {
        **DIVIDER,
        "transformers": {
            f"tap-{watts}": {
                "line": "100 V",
                "tap": f"{watts} W",
                "secondary": "8 ohm",
                "from": "near",
            }
            for watts in (20, 10)
        },
        "runs": {"near": {"cable": "reel", "length": "10 m"}},
        "loads": {
            "hut": {"type": "resistor", "resistance": "8 ohm", "at": "tap-20"},
            "barn": {"type": "resistor", "resistance": "8 ohm", "at": "tap-10"},
        },
    }
    hut, barn = figures(only(rig), (1000.0,)).loudspeakers
    assert barn.level_db == pytest.approx(-10 * math.log10(2), abs=0.01)
    assert barn.loss_db == pytest.approx(hut.loss_db, abs=0.01)


def test_one_loudspeaker_has_no_table():
    rig = {**DIVIDER, "loads": {"hut": {"type": "resistor", "resistance": "8 ohm", "at": "near"}}}
    found = figures(only(rig), (1000.0,))
    assert found.loudspeakers == ()
    assert "By loudspeaker" not in as_table("", [found])


def test_text_json_and_csv_say_the_same():
    found = figures(only(RIG), (1000.0,))
    (told,) = json.loads(data.as_json("", [found]))["choices"]
    rows = list(csv.DictReader(io.StringIO(data.as_csv([found], "loudspeaker"))))
    printed = as_table("", [found]).splitlines()
    for one, plain, row in zip(found.loudspeakers, told["loudspeakers"], rows, strict=True):
        assert plain["load"] == row["load"] == one.load
        assert plain["level_db"] == float(row["level_db"]) == one.level_db
        (line,) = (text for text in printed if text.startswith(f"{one.load} "))
        assert line.split()[2:4] == [f"{one.loss_db:.2f}", "1"]
    assert any("runs path 2 to path 20, each: 5 m" in line for line in printed)
    assert max(map(len, printed)) <= 80


def test_behind_a_short_there_is_silence_and_no_level_against_it():
    rig = {**DIVIDER, "loads": {**DIVIDER["loads"]}}
    rig["loads"]["hut"] = {"type": "short", "nominal": "8 ohm", "at": "near"}
    hut, barn = figures(only(rig), (1000.0,)).loudspeakers
    assert (hut.level_db, barn.level_db) == (None, None)
    backwards = figures(only({**rig, "loads": dict(reversed(rig["loads"].items()))}), (1000.0,))
    json.loads(data.as_json("", [backwards]), parse_constant=pytest.fail)


def test_rows_by_loudspeaker_are_of_csv_alone(tmp_path, capsys):
    rig = tmp_path / "rig.toml"
    rig.write_text("", encoding="utf-8")
    assert main(["figures", str(rig), "--by", "loudspeaker"]) == 2
    assert "--by says what the rows of --csv are by" in capsys.readouterr().err
