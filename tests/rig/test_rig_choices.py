"""Choices of a rig file: each says only what differs; runs that lead nowhere, names of files."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from auralize.circuit.cable import MeasuredCable, PairCable
from auralize.errors import RigError
from auralize.rig.choice import Choice
from auralize.rig.reading import ONLY_CHOICE
from support.rig_text import (
    amplifier,
    cable,
    driver,
    load,
    read,
    refusal,
    run,
    text,
    the_choice,
    written,
)

# --- choices: each says only what differs ---------------------------------------------------------


def choices_of(folder: Path, content: str) -> Mapping[str, Choice]:
    return read(folder, content).choices


def series_at_dc(choice: Choice, name: str = "pond") -> float:
    """Loop resistance in ohm/m."""
    return float(choice.network.runs[name].cable.series(np.zeros(1))[0].real)


def test_a_file_without_choices_has_one(tmp_path: Path) -> None:
    rig = read(tmp_path, text())
    assert list(rig.choices) == [ONLY_CHOICE]
    assert rig.choices[ONLY_CHOICE].label == ONLY_CHOICE
    assert rig.title == "tide-mill"


def test_choices_keep_their_order_and_are_labelled_by_name(tmp_path: Path) -> None:
    choices = choices_of(
        tmp_path, text(choices='[choices.b]\n[choices.a]\nlabel = "the Ω"\n[choices.c]')
    )
    assert list(choices) == ["b", "a", "c"]
    assert [choice.label for choice in choices.values()] == ["b", "the Ω", "c"]


def test_a_choice_changes_one_key_and_nothing_else(tmp_path: Path) -> None:
    choices = choices_of(
        tmp_path, text(choices='[choices.short]\nruns.pond.length = "200 ft"\n[choices.whole]')
    )
    assert choices["short"].network.runs["pond"].length == pytest.approx(60.96)  # 200 * 0.3048
    assert choices["whole"].network.runs["pond"].length == 62.0
    assert (
        choices["short"].network.runs["pond"].cable == choices["whole"].network.runs["pond"].cable
    )


def test_a_choice_warms_one_run(tmp_path: Path) -> None:
    choices = choices_of(
        tmp_path, text(choices='[choices.cold]\n[choices.warm]\nruns.pond.temperature = "70 degC"')
    )
    # Copper 0.00393 /K (IEC 60028): 50 K more are 19.65 % more.
    assert series_at_dc(choices["warm"]) / series_at_dc(choices["cold"]) == pytest.approx(1.1965)


def test_a_choice_replaces_a_cable_by_one_of_another_construction(tmp_path: Path) -> None:
    overlay = """
    [choices.twin]
    [choices.measured.cables.reel]
    construction = "measured"
    resistance = "10 ohm/km"
    inductance = "0.7 uH/m"
    """
    choices = choices_of(tmp_path, text(choices=overlay))
    measured = choices["measured"].network.runs["pond"].cable
    assert isinstance(measured, MeasuredCable)
    assert measured.resistance == pytest.approx(0.010)
    assert measured.inductance == pytest.approx(0.7e-6)
    assert isinstance(choices["twin"].network.runs["pond"].cable, PairCable)


def test_another_construction_starts_the_cable_afresh(tmp_path: Path) -> None:
    """A twisted pair that inherited the twin's wall, but not its conductor, would be half a cable."""
    overlay = '[choices.a.cables.reel]\nconstruction = "twisted pair"\nlay_length = "80 mm"'
    sentence = refusal(written(tmp_path, text(choices=overlay)))
    assert sentence.startswith("cables.reel.conductor (choice 'a'): ")


def test_the_same_construction_said_again_keeps_the_cable(tmp_path: Path) -> None:
    overlay = '[choices.a.cables.reel]\nconstruction = "twin"\nconductor = "5 mm2"\n[choices.b]'
    choices = choices_of(tmp_path, text(choices=overlay))
    # Twice the metal is half the resistance: rho / A.
    assert series_at_dc(choices["a"]) == pytest.approx(series_at_dc(choices["b"]) / 2.0)


def test_a_cable_of_a_choice_is_there_in_no_other(tmp_path: Path) -> None:
    overlay = '[choices.a]\nruns.pond.cable = "own"\n' + cable("x").replace(
        "cables.x", "choices.a.cables.own"
    )
    assert list(choices_of(tmp_path, text(choices=overlay))) == ["a"]
    sentence = refusal(
        written(tmp_path, text(choices=overlay + '[choices.b]\nruns.pond.cable = "own"'))
    )
    assert sentence.startswith("choices.b.runs.pond.cable: 'own' is not known")


ALTERNATIVES = {
    "damping factor for resistance": (
        text(choices='[choices.a]\namplifier.damping_factor = 200\namplifier.into = "4 ohm"'),
        lambda c: c.network.amplifier.resistance,
        4.0 / 200.0,
    ),
    "resistance for damping factor": (
        text(
            amplifier=amplifier(resistance=None, damping_factor="400", into='"8 ohm"'),
            choices='[choices.a]\namplifier.resistance = "0.3 ohm"',
        ),
        lambda c: c.network.amplifier.resistance,
        0.3,
    ),
    "damping factor alone, into as it was": (
        text(
            amplifier=amplifier(resistance=None, damping_factor="400", into='"8 ohm"'),
            choices="[choices.a]\namplifier.damping_factor = 20",
        ),
        lambda c: c.network.amplifier.resistance,
        8.0 / 20.0,
    ),
    "spacing for insulation": (
        text(choices='[choices.a]\ncables.reel.spacing = "10 cm"'),
        lambda c: c.network.runs["pond"].cable.spacing,
        0.1,
    ),
    "insulation for spacing": (
        text(
            cables=cable(spacing='"10 cm"', insulation=None),
            choices='[choices.a]\ncables.reel.insulation = "1 mm"',
        ),
        lambda c: c.network.runs["pond"].cable.spacing,
        # diameter of the circle round 2.5 mm2 at a fill of 0.75, and two walls
        2.0 * math.sqrt(2.5e-6 / 0.75 / math.pi) + 2e-3,
    ),
    "loss tangent for dielectric": (
        text(
            cables=cable(dielectric='"PVC"'),
            choices="[choices.a]\ncables.reel.loss_tangent = 0.01",
        ),
        lambda c: c.network.runs["pond"].cable.dielectric.loss_tangent,
        0.01,
    ),
    "dielectric for permittivity": (
        text(
            cables=cable(permittivity="9", loss_tangent="0.3"),
            choices='[choices.a]\ncables.reel.dielectric = "air"',
        ),
        lambda c: c.network.runs["pond"].cable.dielectric.loss_tangent,
        0.0,
    ),
}


@pytest.mark.parametrize(
    ("content", "got", "value"), ALTERNATIVES.values(), ids=ALTERNATIVES.keys()
)
def test_what_a_choice_gives_otherwise_drops_its_alternative(
    tmp_path: Path, content: str, got: Any, value: float
) -> None:
    assert got(the_choice(tmp_path, content)) == pytest.approx(value, rel=1e-12, abs=0.0)


def test_a_choice_that_gives_both_alternatives_is_refused(tmp_path: Path) -> None:
    overlay = '[choices.a.cables.reel]\nspacing = "4 mm"\ninsulation = "1 mm"'
    sentence = refusal(written(tmp_path, text(choices=overlay)))
    assert sentence.startswith("choices.a.cables.reel.insulation: ")


def test_a_load_of_another_type_stays_where_it_is(tmp_path: Path) -> None:
    """Where it stands is not part of what it is; to move it unasked would change every figure."""
    overlay = '[choices.a.loads.stage]\ntype = "driver"\nnominal = "8 ohm"\nRe = "5.6 ohm"\n'
    overlay += 'fs = "38 Hz"\nQms = 4.2\nQes = 0.42'
    choice = the_choice(tmp_path, text(loads=load(at='"amplifier"'), choices=overlay))
    assert choice.network.loads["stage"].at is None


def test_a_load_of_another_type_forgets_the_rest(tmp_path: Path) -> None:
    overlay = '[choices.a.loads.stage]\ntype = "resistor"\nresistance = "4 ohm"'
    assert the_choice(tmp_path, text(loads=driver(), choices=overlay)).loads["stage"].nominal == 4.0


@pytest.mark.parametrize("name", ["type", "construction", "spacing", "resistance"])
def test_a_name_that_is_also_a_key_is_only_a_name(tmp_path: Path, name: str) -> None:
    """[cables.type] is a cable called "type": to change it must not forget the other cables."""
    content = text(
        cables=cable() + cable(name) + cable("insulation"),
        runs=run() + run("spur", cable='"insulation"'),
        loads=load(at='"pond"') + load("lobby", at='"spur"'),
        top='listen = "stage"',
        choices=f'[choices.a.cables.{name}]\nconductor = "4 mm2"',
    )
    assert set(the_choice(tmp_path, content).network.runs) == {"pond", "spur"}


def test_a_choice_may_listen_elsewhere(tmp_path: Path) -> None:
    content = text(
        top='listen = "stage"',
        loads=load(at='"pond"') + load("lobby", at='"pond"', resistance='"4 ohm"'),
        choices='[choices.a]\n[choices.b]\nlisten = "lobby"',
    )
    assert [c.listen for c in choices_of(tmp_path, content).values()] == ["stage", "lobby"]


# --- runs that lead nowhere -----------------------------------------------------------------------


def test_a_run_that_leads_to_no_load_is_left_out(tmp_path: Path) -> None:
    content = text(
        runs=run("near") + run("far", feeder='"near"') + run("spur", feeder='"near"'),
        loads=load(at='"far"'),
        choices='[choices.there]\n[choices.here]\nloads.stage.at = "near"',
    )
    choices = choices_of(tmp_path, content)
    for name, runs in (("there", {"near", "far"}), ("here", {"near"})):
        assert set(choices[name].network.runs) == runs
        assert set(choices[name].runs) == runs


def test_a_load_at_the_amplifier_needs_no_run(tmp_path: Path) -> None:
    choice = the_choice(tmp_path, text(loads=load(at='"amplifier"')))
    assert not choice.network.runs
    assert not choice.runs


def test_the_only_run_is_taken_where_none_is_named(tmp_path: Path) -> None:
    assert the_choice(tmp_path, text()).network.loads["stage"].at == "pond"


def test_a_run_that_leads_to_no_load_is_checked_all_the_same(tmp_path: Path) -> None:
    content = text(runs=run() + run("spur", length='"0 m"'), loads=load(at='"pond"'))
    assert refusal(written(tmp_path, content)).startswith("runs.spur.length: ")


def test_an_unknown_choice_is_refused_with_those_that_are_there(tmp_path: Path) -> None:
    rig = read(tmp_path, text(choices="[choices.reel]\n[choices.bought]"))
    with pytest.raises(RigError, match=r"'rell'.*reel, bought"):
        rig.pick(["rell"])
    assert [choice.name for choice in rig.pick([])] == ["reel", "bought"]
    assert [choice.name for choice in rig.pick(["bought"])] == ["bought"]


def test_a_choice_named_twice_is_picked_once(tmp_path: Path) -> None:
    rig = read(tmp_path, text(choices="[choices.reel]\n[choices.bought]"))
    assert [choice.name for choice in rig.pick(["reel", "reel"])] == ["reel"]


# --- names that must do as names of files ---------------------------------------------------------

UNFIT = {
    "slash": '"a/b"',
    "backslash": '"a\\\\b"',
    "up and out": '"../../b"',
    "nothing": '""',
    "too long": '"' + "x" * 300 + '"',
    "line break": '"a\\nb"',
    "escape": '"\\u001b[2J"',
}


@pytest.mark.parametrize("name", UNFIT.values(), ids=UNFIT.keys())
def test_a_choice_whose_name_is_unfit_for_a_file_is_refused(tmp_path: Path, name: str) -> None:
    sentence = refusal(written(tmp_path, text(choices=f"[choices.{name}]")))
    assert sentence.startswith("choices")
    assert len(sentence) < 400


@pytest.mark.parametrize("name", ["Mühle→水", "a b", "2.5 mm2", "x" * 60])
def test_a_choice_may_have_any_name_that_a_file_can_have(tmp_path: Path, name: str) -> None:
    assert list(choices_of(tmp_path, text(choices=f'[choices."{name}"]'))) == [name]
