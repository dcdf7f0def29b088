"""A cable that feeds many loudspeakers, sized for the worst of them: against every size, tried one by one."""

import copy

import numpy as np
import pytest

from auralize.circuit.sizing import METRIC_AREAS, only
from auralize.circuit.solution import solve, source_impedance
from auralize.commands.main import main
from auralize.errors import RequestError
from auralize.figures.fit import fit
from auralize.figures.fit_text import as_fits
from auralize.rig.reading import read_rig
from support.small_driver import SMALL_DRIVER, THIN

RIG = {
    "amplifier": {"resistance": "10 mohm"},
    "cables": {
        "line": THIN,
        "other": THIN,
    },
    "runs": {
        "path": {"cable": "line", "length": "6 m"},
        "yard": {"cable": "other", "length": "5 m"},
    },
    "loads": {
        "desk": {**SMALL_DRIVER, "at": "yard"},
        "lamp": {**SMALL_DRIVER, "count": 8, "spacing": "3 m", "along": "path"},
    },
    "listen": "desk",
}
TAPPED = copy.deepcopy(RIG)
TAPPED["transformers"] = {"tap": {"line": "100 V", "tap": "20 W", "secondary": "8 ohm"}}
TAPPED["loads"]["lamp"] |= {"through": "tap", "spacing": "200 m"}
MIXED = copy.deepcopy(RIG)
MIXED["loads"]["lamp 2"] = {"type": "resistor", "resistance": "5 ohm"}
MIXED["loads"]["lamp 8"] = {"band": "60 Hz to 150 Hz"}


def at_worst(network, choice, kind):
    """Each lamp by itself over its own band, and the worst of all; 200 points a decade, as `fit` has."""
    own = only(network, transformers=tuple(network.transformers), amplifier=True)
    worst = []
    for name, load in choice.loads.items():
        if name == "desk":
            continue
        low, high = load.band or (20.0, 20_000.0)
        f = np.geomspace(low, high, int(np.ceil(200 * np.log10(high / low))) + 1)
        f = np.append(f, 1000.0 if low <= 1000.0 <= high else 100.0)
        if kind == "damping":
            at = f if load.band else [1000.0 if network.transformers else 0.0]
            worst.append(np.max(np.abs(source_impedance(network, name, at))) / load.nominal)
            continue
        loss = level(network, name, f)
        if network.transformers:
            loss = loss - level(own, name, f)
        worst.append(np.max(-loss if kind == "loss" else np.abs(loss - loss[-1])))
    return max(worst)


def level(network, name, f):
    solution = solve(network, f)
    return 20 * np.log10(np.abs(solution.receiving[name] / solution.reference(name)))


@pytest.mark.parametrize(
    ("data", "kind", "tolerance"),
    [
        (RIG, "loss", 5.5),
        (RIG, "deviation", 3.5),
        (RIG, "damping", 20.0),
        (TAPPED, "loss", 1.0),
        (TAPPED, "damping", 6.0),
        (MIXED, "loss", 5.5),
        (MIXED, "deviation", 3.4),
        (MIXED, "damping", 20.0),
    ],
)
def test_the_thinnest_size_is_the_first_that_does_for_all(data, kind, tolerance):
    rig = read_rig(data)
    (choice,) = rig.choices.values()
    found = fit(rig, choice, None, kind, tolerance, cable="line")
    limit = 1.0 / tolerance if kind == "damping" else tolerance
    doing = []
    for area in METRIC_AREAS:
        tried = copy.deepcopy(data)
        tried["cables"]["line"]["conductor"] = f"{area * 1e6:g} mm2"
        (other,) = read_rig(tried).choices.values()
        if at_worst(other.network, other, kind) <= limit:
            doing.append(f"{area * 1e6:g} mm2")
    assert doing, "the case must have an answer"
    assert len(doing) < len(METRIC_AREAS), "and one that is not the first"
    assert found.metric.thinnest == doing[0]
    now = at_worst(choice.network, choice, kind)
    assert found.now == pytest.approx(1.0 / now if kind == "damping" else now, rel=1e-6)


def test_it_says_at_which_loudspeaker_and_counts_the_runs():
    rig = read_rig(RIG)
    (choice,) = rig.choices.values()
    found = fit(rig, choice, None, "loss", 2.0, cable="line")
    assert found.worst_load == "lamp 8"
    assert len(found.runs) == 8
    printed = as_fits("", [found], "loss", 2.0)
    assert "at loudspeaker" in printed
    assert "8 runs" in printed


def test_a_loudspeaker_that_is_named_is_judged_alone():
    rig = read_rig(RIG)
    (choice,) = rig.choices.values()
    near, far = (
        fit(rig, choice, None, "loss", 2.0, cable="line", load=name)
        for name in ("lamp 1", "lamp 8")
    )
    assert near.worst_load is far.worst_load is None
    assert near.now < far.now
    assert far.now == pytest.approx(
        fit(rig, choice, None, "loss", 2.0, cable="line").now, rel=1e-12
    )
    with pytest.raises(RequestError, match="no run on the way to desk is of 'line'"):
        fit(rig, choice, None, "loss", 2.0, cable="line", load="desk")
    with pytest.raises(RequestError, match=r"loudspeaker is of 'lnie'.* or a --choice that has it"):
        fit(rig, choice, None, "loss", 2.0, cable="lnie")


def test_what_transformers_lose_is_left_out_though_another_load_is_listened_to():
    rig = read_rig(TAPPED)
    (choice,) = rig.choices.values()
    assert fit(rig, choice, None, "loss", 1.0, cable="line").without_turns


def test_one_link_of_a_line_can_be_fitted_by_itself(tmp_path, capsys):
    """The reader knows it by name, though the file does not have it."""
    rig = read_rig(RIG)
    choice = rig["as-described"].at("lamp 8")
    found = fit(rig, choice, "path 4", "loss", 9.0)
    longer = rig.changed(choice, {("runs", "path 4", "length"): f"{found.longest} m"})
    f = np.append(np.geomspace(20.0, 20_000.0, 601), 1000.0)
    assert np.max(-level(longer.network, "lamp 8", f)) == pytest.approx(9.0, rel=1e-3)
    (tmp_path / "rig.toml").write_text("[amplifier]", encoding="utf-8")
    assert main(["fit", str(tmp_path / "rig.toml"), "--loss", "1", "--cable", "line"]) == 2
    assert capsys.readouterr().out == ""
