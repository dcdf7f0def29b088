"""Presets of lays and sizes: each is a rig that reads, says what it assumed, and is one step of undo."""

import math
from pathlib import Path

import pytest

from auralize.circuit.sizing import EVEN_GAUGES, METRIC_AREAS
from auralize.errors import AuralizeError
from auralize.rig.editing import RigDraft
from auralize.rig.presets import lays_of, sizes_of, take

pytest.importorskip("tomlkit", reason="editing keeps comments with tomlkit (extra: bench)")
DEMOS = sorted((Path(__file__).parents[2] / "audio_demo").glob("*.toml"))


def draft_of(path, tmp_path):
    copy = tmp_path / path.name
    copy.write_bytes(path.read_bytes())
    return RigDraft(copy)


@pytest.fixture
def pond(tmp_path):
    return draft_of(next(p for p in DEMOS if p.stem == "saltmarsh"), tmp_path)


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_each_of_each_rig_is_taken_or_refused_in_words(demo, tmp_path):
    draft = draft_of(demo, tmp_path)
    choice = next(iter(draft.rig.choices))
    before, others = draft.text, dict(list(draft.rig.choices.items())[1:])
    for preset in [*lays_of(draft, choice), *sizes_of(draft, choice)]:
        try:
            words = take(draft, choice, preset)
        except AuralizeError as error:
            assert not str(error).startswith("/")  # noqa: PT017
        else:
            assert preset.words in words
            assert {n: draft.rig.choices[n].content for n in others} == {
                n: c.content for n, c in others.items()
            }
            draft.undo()
        assert draft.text == before


def test_turns_are_the_length_over_that_of_one(pond):
    """Common geometry: 62 m round a mean diameter of 40 cm."""
    coiled = lays_of(pond, "reel")[1]
    assert f"in {62.0 / (math.pi * 0.4):.3g} turns" in take(pond, "reel", coiled)


def test_sizes_are_the_usual_ones_the_thinnest_first(pond):
    sizes = sizes_of(pond, "reel")
    assert len(sizes) == len(METRIC_AREAS) + len(EVEN_GAUGES)
    resistances = []
    for size in sizes:
        take(pond, "reel", size)
        resistances.append(pond.rig.choices["reel"].runs["pond"].cable.metal.area)
    assert resistances == sorted(resistances)


def test_a_twin_that_is_twisted_keeps_its_conductors_and_lies_straight(pond):
    take(pond, "reel", lays_of(pond, "reel")[1])
    words = take(pond, "reel", lays_of(pond, "reel")[-1])
    run = pond.rig.choices["reel"].runs["pond"]
    assert "twisted pair" in run.words
    assert run.cable.metal.area == pytest.approx(2.5e-6)
    assert "lay_length" in words
    assert pond.value("bought", ("cables", "reel", "construction")) == "twin"


def test_what_is_so_already_is_no_step(pond):
    size = next(s for s in sizes_of(pond, "reel") if s.words == "2.5 mm2, class 5")
    assert "was so already" in take(pond, "reel", size)
    assert not pond.undo()


def test_steel_in_one_coil_is_heard_in_its_conductor(pond):
    """What steel adds is in plus, round which its coil lies, far more than in minus 1 m beside."""
    take(pond, "beams", lays_of(pond, "beams")[2])
    bare = pond.rig.choices["beams"]
    pond.undo()
    take(pond, "beams", lays_of(pond, "beams")[3])
    steel = pond.rig.choices["beams"]
    added = {
        across: abs(
            steel.response([200.0], "drop", across)[0] - bare.response([200.0], "drop", across)[0]
        )
        for across in ("plus", "minus")
    }
    assert added["plus"] > 2.0 * added["minus"]
