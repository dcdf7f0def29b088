"""Lays in a rig file: what they do to the figures, and what is refused."""

from pathlib import Path

import pytest

from auralize.errors import RigError
from auralize.figures.numbers import figures
from auralize.rig.reading import load_rig, read_rig

LAY = Path(__file__).parents[2] / "audio_demo" / "lay.toml"


def rig(lay, length="62 m", **cable):
    """A rig whose only run lies as ``lay`` says."""
    twin = {"construction": "twin", "conductor": "2.5 mm2", "insulation": "0.8 mm"} | cable
    run = {"cable": "it", "length": length, "lay": lay}
    return {
        "amplifier": {"resistance": "20 mohm"},
        "cables": {"it": twin},
        "runs": {"pond": run},
        "loads": {"load": {"type": "resistor", "resistance": "8 ohm"}},
    }


def only(data):
    (choice,) = read_rig(data, Path("it.toml")).choices.values()
    return figures(choice, (1e4, 2e4))


@pytest.fixture(scope="module")
def found():
    return {name: figures(c, (1e4, 2e4)) for name, c in load_rig(LAY).choices.items()}


def loss_at_10khz(figures):
    return figures.lines[0].loss_db


# Each of these: common practice, no source.
def test_coiling_a_twisted_cable_changes_nothing_audible(found):
    (lay,) = found["twisted"].lays
    assert abs(lay.db_20khz.low) < 0.1
    assert abs(lay.db_20khz.high) < 0.1


def test_coiling_the_conductors_apart_loses_the_top(found):
    assert loss_at_10khz(found["apart"]) < loss_at_10khz(found["laid-out"]) - 3


def test_steel_in_such_a_coil_heats_and_loses_more(found):
    with_steel, without = found["apart-steel"].lays[0], found["apart"].lays[0]
    assert with_steel.added_milliohm.rendered > 1.5 * without.added_milliohm.rendered
    assert found["apart-steel"].loss_db < found["apart"].loss_db
    assert found["apart-steel"].cable_share > found["apart"].cable_share


def test_unrolling_restores(found):
    assert found["laid-out"].lays == ()
    straight = only(rig({"shape": "straight"}))
    coiled = only(rig({"shape": "coiled", "mean_diameter": "40 cm", "facing": "stacked"}))
    assert straight.lays == ()
    assert straight == only(rig({}))
    assert coiled.lines != straight.lines


def test_an_unknown_packing_gives_a_range(found):
    (lay,) = only(rig({"shape": "coiled", "mean_diameter": "40 cm"})).lays
    straight_uh = only(rig({})).lines[0].cable_uh
    # An untwisted pair coiled together lies between about 0.74 and 1.7 times straight.
    assert 0.65 < 1 + lay.added_uh.low / straight_uh < 0.85
    assert 1.4 < 1 + lay.added_uh.high / straight_uh < 1.9
    assert "random" in lay.assumption
    (stated,) = only(rig({"shape": "coiled", "mean_diameter": "40 cm", "facing": "aligned"})).lays
    assert stated.added_uh.high - stated.added_uh.low < lay.added_uh.high - lay.added_uh.low


def test_way_of_winding_and_arrangement_have_the_right_sign():
    coils = {"shape": "split coils", "mean_diameter": "30 cm", "turns": 20, "distance": "5 cm"}
    split = {"construction": "single cores", "spacing": "4 mm"}

    def microhenry(**keys):
        (lay,) = only(rig(coils | keys, **{"insulation": "0.8 mm"} | split)).lays
        return lay.added_uh.rendered

    stacked_same = microhenry(arrangement="coaxial", wound="same way")
    stacked_other = microhenry(arrangement="coaxial", wound="opposite ways")
    # The return current flows back: wound the same way, coaxial coils oppose each other.
    assert stacked_same < 0.5 * stacked_other
    beside_same = microhenry(arrangement="side by side", distance="35 cm", wound="same way")
    beside_other = microhenry(arrangement="side by side", distance="35 cm", wound="opposite ways")
    # Side by side one coil's field returns through the other, so that the signs change places.
    assert beside_same > beside_other


def test_part_coiled_adds_less():
    whole = only(rig({"shape": "coiled", "mean_diameter": "40 cm", "facing": "stacked"})).lays[0]
    part = only(
        rig({"shape": "coiled", "mean_diameter": "40 cm", "facing": "stacked", "coiled": "20 m"})
    ).lays[0]
    assert 0 < part.added_uh.rendered < 0.5 * whole.added_uh.rendered


def test_figure_of_eight_is_read():
    lay = {
        "shape": "figure of eight",
        "lobe_length": "60 cm",
        "lobe_width": "40 cm",
        "coiled": "20 m",
    }
    (read,) = only(rig(lay)).lays
    assert "figures of eight" in read.lay
    assert read.coiled


def test_four_core_and_coaxial_may_be_coiled_and_gain_nothing():
    four = {"construction": "four-core", "lay_length": "80 mm"}
    coiled = only(rig({"shape": "coiled"}, **four))
    assert coiled.lays[0].added_uh.high == 0.0
    assert coiled.lines == only(rig({}, **four)).lines


def test_four_core_crossed_has_less_inductance_than_side_by_side_and_than_a_twin():
    four = {"construction": "four-core", "lay_length": "80 mm"}
    crossed = only(rig({}, **four)).lines[0]
    beside = only(rig({}, joined="cores side by side", **four)).lines[0]
    twin = only(rig({})).lines[0]
    assert crossed.cable_uh < 0.7 * beside.cable_uh
    assert crossed.cable_uh < 0.5 * twin.cable_uh
    assert crossed.cable_ohm < 0.6 * twin.cable_ohm


REFUSED = {
    "coil longer than the run": (
        {"shape": "coiled", "mean_diameter": "40 cm", "coiled": "70 m"},
        "coiled, and the run is only 62 m",
    ),
    "more turns than the run has": (
        {"shape": "coiled", "mean_diameter": "40 cm", "turns": 100},
        "the run is only 62 m",
    ),
    "radius under the wire's": (
        {"shape": "split coils", "mean_diameter": "1 cm", "turns": 40, "distance": "20 cm"},
        "cross the axis",
    ),
    "bar fatter than the coil": (
        {
            "shape": "split coils",
            "mean_diameter": "10 cm",
            "turns": 10,
            "distance": "50 cm",
            "iron": {"diameter": "12 cm", "length": "30 cm"},
        },
        "does not go through a coil",
    ),
    "more turns than are summed": (
        {"shape": "coiled", "mean_diameter": "1 cm", "coiled": "10 km"},
        "makes 318,310 turns; right is a length that makes 10,000 at most",
    ),
    "more turns of a split coil": (
        {"shape": "split coils", "mean_diameter": "1 cm", "coiled": "1 km", "distance": "1 m"},
        "makes 31,831 turns",
    ),
    "more turns on a reel": (
        {"shape": "coiled", "barrel": "1 cm", "width": "5 m", "coiled": "10 km"},
        "turns; right is a length that makes 10,000 at most",
    ),
    "more figures than are summed": (
        {
            "shape": "figure of eight",
            "lobe_length": "10 cm",
            "lobe_width": "5 cm",
            "coiled": "2 km",
        },
        "figures of eight; right is a length that makes 1,000 at most",
    ),
    "turns and length": (
        {"shape": "coiled", "mean_diameter": "40 cm", "turns": 5, "coiled": "5 m"},
        "keep one",
    ),
    "unknown shape": ({"shape": "folded"}, "right is 'straight'"),
    "unknown facing": (
        {"shape": "coiled", "mean_diameter": "40 cm", "facing": "up"},
        "is not known",
    ),
    "coils within each other": (
        {
            "shape": "split coils",
            "mean_diameter": "40 cm",
            "turns": 10,
            "distance": "1 cm",
            "arrangement": "side by side",
        },
        "it.toml: runs.pond.lay",
    ),
    "no diameter": ({"shape": "coiled"}, "a length is missing"),
    "tube wall too thick": (
        {
            "shape": "coiled",
            "mean_diameter": "40 cm",
            "iron": {"diameter": "5 cm", "wall": "3 cm", "length": "30 cm"},
        },
        "the wall is thicker",
    ),
    "key of another shape": ({"shape": "straight", "turns": 5}, "not known here"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_geometry_that_cannot_be_is_refused_in_one_sentence(name):
    lay, sentence = REFUSED[name]
    with pytest.raises(RigError, match=r"^it\.toml: runs\.pond\.lay") as refused:
        read_rig(rig(lay), Path("it.toml"))
    assert sentence in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_measured_cable_has_no_shape_to_coil():
    data = rig({"shape": "coiled", "mean_diameter": "40 cm"})
    data["cables"]["it"] = {
        "construction": "measured",
        "resistance": "16 ohm/km",
        "inductance": "0.6 uH/m",
    }
    with pytest.raises(RigError, match="needs two conductors whose shape is known"):
        read_rig(data, Path("it.toml"))
