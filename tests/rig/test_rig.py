"""The rig file from the chair of who writes it: every slip is named by file, field, find and remedy."""

import re
from pathlib import Path

import pytest

from auralize.errors import AuralizeError, RigError
from auralize.rig.reading import ONLY_CHOICE, load_rig
from support.bad_cables import BAD_CABLES
from support.bad_rigs import BAD_RIGS, Bad
from support.rig_text import cable, read, refusal, run, text, the_choice, written

# --- sound files -----------------------------------------------------------------------------------


def test_the_sound_file_is_read(tmp_path: Path) -> None:
    choice = the_choice(tmp_path, text())
    assert choice.name == ONLY_CHOICE
    assert choice.network.amplifier.resistance == 0.05
    assert choice.network.runs["pond"].length == 62.0


@pytest.mark.parametrize("name", ["saltmarsh.toml", "lobby.toml"])
def test_the_files_of_the_demo_are_read(name: str) -> None:
    rig = load_rig(Path(__file__).parents[2] / "audio_demo" / name)
    assert rig.title.startswith("Saltmarsh Tide Mill")
    assert len(rig.choices) >= 2


# --- malformed files ------------------------------------------------------------------------------


BAD = BAD_RIGS | BAD_CABLES


@pytest.mark.parametrize("bad", BAD.values(), ids=BAD.keys())
def test_a_malformed_rig_is_refused_by_field_find_and_remedy(tmp_path: Path, bad: Bad) -> None:
    where, _, sentence = refusal(written(tmp_path, bad.text)).partition(": ")
    assert where.partition(" (choice ")[0] == bad.place
    assert bad.found in sentence
    assert bad.right in sentence
    assert " a area" not in f" {sentence}"
    assert " a inductance" not in f" {sentence}"


@pytest.mark.parametrize("strands", ["class 1", "class 2", "class 5"])
def test_the_remedy_for_a_size_that_a_class_does_not_have_is_right(
    tmp_path: Path, strands: str
) -> None:
    """IEC 60228 lists areas in mm2 and no gauges: what the refusal proposes must then be read."""
    gauge = '"14 AWG"'
    sentence = refusal(
        written(tmp_path, text(cables=cable(conductor=gauge, strands=f'"{strands}"')))
    )
    assert "1.5, 2.5, 4" in sentence
    (remedy,) = re.findall(r'strands = ("\w+") takes a gauge or any other area', sentence)
    load_rig(written(tmp_path, text(cables=cable(conductor=gauge, strands=remedy))))


def test_enough_ways_to_be_wrong_are_tried() -> None:
    assert len({bad.text for bad in BAD.values()}) == len(BAD) >= 50


def test_a_fault_of_the_common_part_names_the_choice_it_was_found_in(tmp_path: Path) -> None:
    content = text(runs=run(length='"0 m"'), choices='[choices.a]\nlabel = "x"')
    assert refusal(written(tmp_path, content)).startswith("runs.pond.length (choice 'a'): ")


def test_a_fault_in_one_choice_refuses_the_file_whichever_is_wanted(tmp_path: Path) -> None:
    content = text(choices='[choices.a]\n[choices.b]\nruns.pond.length = "0 m"')
    assert refusal(written(tmp_path, content)).startswith("choices.b.runs.pond.length: ")


def test_the_kind_of_error_is_both_ours_and_a_value_error(tmp_path: Path) -> None:
    with pytest.raises(RigError) as caught:
        read(tmp_path, "")
    assert isinstance(caught.value, AuralizeError)
    assert isinstance(caught.value, ValueError)
