"""What of a rig can be edited in place, and what a typed text makes of it."""

import pytest

from auralize.errors import RigError
from auralize.rig.editing import RigDraft
from auralize.rig.fields import START_LAYS, Change, edit, fields_of, typed
from auralize.rig.lays import SHAPES
from support.rig_text import amplifier, load, run, text, written

pytest.importorskip("tomlkit", reason="editing needs tomlkit (extra: bench)")
CHOICES = '[choices.a]\nlabel = "a"\n[choices.b]\nlabel = "b"\n'


@pytest.fixture
def drafted(tmp_path):
    """A draft of a rig file, and its fields for choice a by their words."""

    def of(**parts):
        draft = RigDraft(written(tmp_path, text('title = "A run"', choices=CHOICES, **parts)))
        return draft, {field.words: field for field in fields_of(draft, "a")}

    return of


def test_the_fields_of_a_rig_are_those_of_what_leads_to_its_loudspeaker(drafted):
    draft, fields = drafted(amplifier=amplifier(inductance='"1 uH"'))
    assert [(f.words, f.place, f.text) for f in fields.values()] == [
        ("pond: length", ("runs", "pond", "length"), "62 m"),
        ("pond: cable", ("runs", "pond", "cable"), "reel"),
        ("reel: conductor", ("cables", "reel", "conductor"), "2.5 mm2"),
        ("reel: strands", ("cables", "reel", "strands"), ""),
        ("pond: temperature", ("runs", "pond", "temperature"), ""),
        ("pond: lay, shape", ("runs", "pond", "lay", "shape"), "straight"),
        ("amplifier: resistance", ("amplifier", "resistance"), "0.05 ohm"),
        ("amplifier: inductance", ("amplifier", "inductance"), "1 uH"),
        ("stage: resistance", ("loads", "stage", "resistance"), "8 ohm"),
    ]
    assert not draft.unsaved


def test_only_the_runs_on_the_way_can_be_edited(drafted):
    _, fields = drafted(
        runs=run() + run("loft") + run("end", feeder='"pond"', length='"9 m"'),
        loads=load(at='"end"'),
    )
    runs = [f.place[1] for f in fields.values() if f.words.endswith(": length")]
    assert runs == ["pond", "end"]


def test_what_is_a_table_or_a_list_of_its_own_is_not_offered(drafted):
    _, fields = drafted(
        loads=load(contact="{ plus = '0.1 ohm', minus = '0 ohm' }", reversed="true")
    )
    assert "stage: contact" not in fields
    assert "stage: type" not in fields
    assert fields["stage: reversed"].text == "true"


@pytest.mark.parametrize(
    ("words", "typed_in", "value"),
    [
        ("pond: length", "200 ft", "200 ft"),
        ("stage: parallel", "2", 2),
        ("stage: reversed", "false", False),
    ],
)
def test_an_edit_changes_one_choice_and_is_told(drafted, words, typed_in, value):
    draft, fields = drafted(loads=load(reversed="true", parallel="1"))
    place = fields[words].place
    assert edit(draft, "a", fields[words], typed_in) == Change("a", place, value)
    assert draft.value("a", place) == value
    assert draft.value("b", place) == fields[words].value
    assert Change("a", place, value).words == f"a: {'.'.join(place)} is now {value}"


def test_what_cannot_be_is_refused_and_changes_nothing(drafted):
    draft, fields = drafted(loads=load(parallel="1"))
    for words, wrong in (("pond: length", "62"), ("stage: parallel", "many"), ("pond: cable", "x")):
        with pytest.raises(RigError):
            edit(draft, "a", fields[words], wrong)
    assert not draft.unsaved


def test_every_shape_begins_with_a_lay_that_can_be(drafted):
    assert set(START_LAYS) == set(SHAPES)
    for shape in SHAPES:
        draft, fields = drafted()
        change = edit(draft, "a", fields["pond: lay, shape"], shape)
        assert change.place == ("runs", "pond", "lay")
        again = {field.words: field.text for field in fields_of(draft, "a")}
        assert again["pond: lay, shape"] == shape
        for key, value in START_LAYS[shape].items():
            assert again[f"pond: lay, {key.replace('_', ' ')}"] == value
        draft.give_up()


def test_a_shape_there_is_not_is_refused(drafted):
    draft, fields = drafted()
    with pytest.raises(RigError, match="figure of eight"):
        edit(draft, "a", fields["pond: lay, shape"], "figure of nine")


@pytest.mark.parametrize(
    ("text", "before", "value"),
    [
        ("50", 400, 50),
        ("50.5", 400, 50.5),
        ("50", 4.2, 50),
        ("many", 400, "many"),
        ("62 m", "60 m", "62 m"),
        ("62", "60 m", "62"),  # refused by the rig: it has no unit
        ("62", None, "62"),
        ("true", False, True),
        ("1", False, "1"),
    ],
)
def test_typed_values_keep_their_kind(text, before, value):
    found = typed(text, before)
    assert (found, type(found)) == (value, type(value))
