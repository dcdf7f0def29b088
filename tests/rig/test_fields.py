"""What of a rig can be edited in place, and what a typed text makes of it."""

import tomllib
from pathlib import Path

import pytest

from auralize.errors import RigError
from auralize.rig.editing import RigDraft
from auralize.rig.fields import START_LAYS, Change, Field, edit, fields_of, typed
from auralize.rig.lays import SHAPES
from support.rig_text import amplifier, load, run, text, written

pytest.importorskip("tomlkit", reason="editing needs tomlkit (extra: bench)")
DEMOS = Path(__file__).parents[2] / "audio_demo"
CHOICES = '[choices.a]\nlabel = "a"\n[choices.b]\nlabel = "b"\n'


@pytest.fixture
def drafted(tmp_path):
    """A draft of a rig file, and its fields for choice a by their words."""

    def of(every=False, choices=CHOICES, **parts):
        draft = RigDraft(written(tmp_path, text('title = "A run"', choices=choices, **parts)))
        return draft, {field.words: field for field in fields_of(draft, "a", every=every)}

    return of


def test_the_fields_of_a_rig_are_those_of_what_leads_to_its_loudspeaker(drafted):
    draft, fields = drafted(amplifier=amplifier(inductance='"1 uH"'))
    assert [(f.words, f.place, f.text) for f in fields.values() if f.value is not None] == [
        ("cable of the pond run", ("runs", "pond", "cable"), "reel"),
        ("length of the pond run", ("runs", "pond", "length"), "62 m"),
        ("construction of the reel cable", ("cables", "reel", "construction"), "twin"),
        ("conductor of the reel cable", ("cables", "reel", "conductor"), "2.5 mm2"),
        ("insulation of the reel cable", ("cables", "reel", "insulation"), "0.8 mm"),
        ("resistance of the amplifier", ("amplifier", "resistance"), "0.05 ohm"),
        ("inductance of the amplifier", ("amplifier", "inductance"), "1 uH"),
        ("resistance of the stage loudspeaker", ("loads", "stage", "resistance"), "8 ohm"),
        ("label", ("label",), "a"),
    ]
    assert [(f.words, f.text) for f in fields.values() if f.value is None] == [
        ("joint after the pond run", ""),
        ("joint before the pond run", ""),
        ("temperature of the pond run", ""),
        ("shape of the lay of the pond run", "straight"),
        ("strands of the reel cable", "stranded"),
        ("contacts of the stage loudspeaker", ""),
        ("plus and minus swapped at the stage loudspeaker", ""),
    ]
    assert not draft.unsaved


def test_only_the_runs_on_the_way_can_be_edited(drafted):
    _, fields = drafted(
        runs=run() + run("loft") + run("end", feeder='"pond"', length='"9 m"'),
        loads=load(at='"end"'),
    )
    runs = [f.place[1] for f in fields.values() if f.words.startswith("length of the ")]
    assert runs == ["pond", "end"]


@pytest.mark.parametrize("demo", sorted(DEMOS.glob("*.toml")), ids=lambda path: path.stem)
def test_every_key_that_is_offered_is_one_that_may_stand_there(demo, tmp_path):
    """Said as in the reference's example, a rig may refuse its value, but knows the key."""
    path = tmp_path / demo.name
    path.write_bytes(demo.read_bytes())
    draft = RigDraft(path)
    choice = next(iter(draft.rig.choices))
    offered = [f for f in fields_of(draft, choice, every=True) if f.value is None]
    assert len(offered) > 10
    for field in offered:
        example = tomllib.loads(f"e = {field.key.example}")["e"]
        try:
            draft.change(choice, field.place, example)
        except RigError as error:
            assert "is not known here" not in str(error), field.words  # noqa: PT017
        else:
            draft.undo()


@pytest.mark.parametrize(
    ("words", "typed_in", "value"),
    [
        ("length of the pond run", "200 ft", "200 ft"),
        ("temperature of the pond run", "35 degC", "35 degC"),
        ("parallel of the stage loudspeaker", "2", 2),
        ("plus and minus swapped at the stage loudspeaker", "no", False),
        ("joint after the pond run", "8 mohm", "8 mohm"),
        (
            "joint after the pond run",
            "plus 1.2 ohm, minus 8 mohm",
            {"plus": "1.2 ohm", "minus": "8 mohm"},
        ),
        ("label", "62 m of it", "62 m of it"),
    ],
)
def test_an_edit_changes_one_choice_and_is_told(drafted, words, typed_in, value):
    draft, fields = drafted(loads=load(reversed="true", parallel="1"))
    place = fields[words].place
    change = edit(draft, "a", fields[words], typed_in)
    assert change == Change("a", place, value)
    assert draft.value("a", place) == value
    assert draft.value("b", place) != value
    assert change.words == f"a: {words} is now {typed_in}"
    assert {f.words: f.text for f in fields_of(draft, "a")}[words] == typed_in


def test_an_edit_of_all_is_told_as_one(drafted):
    draft, fields = drafted()
    change = edit(draft, None, fields["length of the pond run"], "200 m")
    assert change.words == "all choices: length of the pond run is now 200 m"
    assert {c.network.runs["pond"].length for c in draft.rig.choices.values()} == {200.0}


@pytest.mark.parametrize(("typed_in", "value"), [("yes", True), ("TRUE", True), ("False", False)])
def test_what_is_true_or_false_is_typed_as_yes_or_no(drafted, typed_in, value):
    draft, fields = drafted()
    field = fields["plus and minus swapped at the stage loudspeaker"]
    edit(draft, "a", field, typed_in)
    assert draft.value("a", field.place) is value
    assert (draft.rig.choices["a"].response([1000.0]).real < 0.0) == [value]
    with pytest.raises(
        RigError, match=r"^plus and minus swapped at .*: 'maybe' was found; right is yes or no$"
    ):
        edit(draft, "a", field, "maybe")


@pytest.mark.parametrize("words", ["length of the pond run", "strands of the reel cable"])
def test_typing_what_is_there_already_is_no_step_of_undo(drafted, words):
    draft, fields = drafted()
    change = edit(draft, "a", fields[words], fields[words].text)
    assert not change.made
    assert "was so already" in change.words
    assert not draft.undo()
    assert not draft.unsaved


@pytest.mark.parametrize(
    ("words", "wrong", "sentence"),
    [
        ("length of the pond run", "62", "length of the pond run: '62' has no unit"),
        ("length of the pond run", "-3 m", "length of the pond run: '-3 m' was found; right is"),
        ("parallel of the stage loudspeaker", "many", "parallel of the stage loudspeaker: 'many'"),
        ("cable of the pond run", "x", "cable of the pond run: 'x' is not known"),
        (
            "shape of the lay of the pond run",
            "figure of nine",
            "shape of the lay of the pond run: ",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_the_words_of_the_screen(drafted, words, wrong, sentence):
    draft, fields = drafted(loads=load(parallel="1"))
    for choice in ("a", None):
        with pytest.raises(RigError) as caught:
            edit(draft, choice, fields[words], wrong)
        assert str(caught.value).startswith(sentence)
        assert not draft.unsaved


def test_every_shape_begins_with_a_lay_that_can_be(drafted):
    assert set(START_LAYS) == set(SHAPES)
    for shape in SHAPES:
        draft, fields = drafted()
        edit(draft, "a", fields["shape of the lay of the pond run"], shape)
        again = {field.words: field.text for field in fields_of(draft, "a")}
        assert again["shape of the lay of the pond run"] == shape
        for key, value in START_LAYS[shape].items():
            assert again[f"{key.replace('_', ' ')} of the lay of the pond run"] == value
        draft.give_up()
        draft.close()


def test_iron_is_put_into_a_coil_and_edited(drafted):
    draft, fields = drafted()
    edit(draft, "a", fields["shape of the lay of the pond run"], "coiled")
    iron = {f.words: f for f in fields_of(draft, "a")}["iron of the lay of the pond run"]
    assert "such as diameter 60 mm, length 1 m" in iron.hint
    edit(draft, "a", iron, "diameter 60 mm, length 1 m, permeability 150")
    assert "round iron" in draft.rig.choices["a"].runs["pond"].lay.words
    inside = {f.words: f for f in fields_of(draft, "a")}
    edit(draft, "a", inside["diameter of the iron of the lay of the pond run"], "50 mm")
    place = ("runs", "pond", "lay", "iron")
    assert draft.value("a", place) == {"diameter": "50 mm", "length": "1 m", "permeability": 150.0}


def test_parts_of_a_crossover_and_the_voice_coil_are_edited(tmp_path):
    path = tmp_path / "path.toml"
    path.write_bytes((DEMOS / "path.toml").read_bytes())
    draft = RigDraft(path)
    fields = {f.words: f for f in fields_of(draft, "sound")}
    low = fields["the low way of the lawn loudspeaker"]
    edit(draft, "sound", low, low.text.replace("15 uF", "22 uF"))
    assert draft.value("sound", low.place)[1] == "shunt 22 uF"
    hot = fields["temperature of the voice coil of the woofer driver of the lawn loudspeaker"]
    edit(draft, "sound", hot, "150 degC")
    assert draft.value("sound", hot.place) == "150 degC"
    assert draft.rig.choices["sound"].content != draft.rig.choices["corroded"].content


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
        ("a, b + c", ["a"], ["a", "b + c"]),
    ],
)
def test_typed_values_keep_their_kind(text, before, value):
    found = typed(text, Field(("loads", "stage", "x"), before))
    assert (found, type(found)) == (value, type(value))
