"""Settings of the bench beside the rig: what is kept is what is read; a file that is not ours stays."""

import pytest

from auralize.errors import FileError
from auralize.files import encoded, write_bytes
from auralize.gains import INSTALLED, LOUDNESS, Match
from auralize.live.settings import CALL, Settings, keep, kept, settings_path, throw_away
from auralize.outputs import marked

CHOICES = ("reel", 'the "new" one', "é", "\N{VIOLIN}", "a\x7fb")
WHOLE = Settings(
    'the "new" one',
    "drop",
    "plus",
    Match.at(1000.0),
    "one",
    12.0,
    (1.25, 2.5),
    ("reel", "é"),
    {"verse": 0.1, 'the "sea"': 3.0},
)


@pytest.fixture
def rig(tmp_path):
    return tmp_path / "mill.toml"


@pytest.mark.parametrize(
    "settings",
    [
        WHOLE,
        Settings("reel", None),
        Settings("é", match=LOUDNESS, drops="equal", loop=None),
        Settings("\N{VIOLIN}", pinned=("a\x7fb", "\N{VIOLIN}"), markers={"\N{VIOLIN} solo": 2.0}),
    ],
)
def test_what_is_kept_is_what_is_read(rig, settings):
    assert kept(rig, CHOICES, 10.0) is None
    path = keep(rig, settings)
    assert path.name == "mill.bench.toml"
    assert kept(rig, CHOICES, 10.0) == settings
    keep(rig, WHOLE)  # our own makes way
    assert kept(rig, CHOICES, 10.0) == WHOLE
    throw_away(rig)
    assert not path.exists()


def test_what_no_longer_fits_is_left_out(rig):
    keep(rig, WHOLE)
    found = kept(rig, ("bought", "reel"), 2.0)
    assert (found.chosen, found.pinned, found.loop) == ("bought", ("reel",), None)
    assert found.markers == {"verse": 0.1}
    assert (found.signal, found.match, found.makeup) == ("drop", Match.at(1000.0), 12.0)


@pytest.mark.parametrize("how", ["edited", "of somebody else", "a link"])
def test_a_file_that_is_not_as_we_left_it_stays(rig, tmp_path, how):
    path = settings_path(rig)
    if how == "edited":
        keep(rig, WHOLE)
        path.write_text(path.read_text().replace("12.0", "39.0"))
    elif how == "of somebody else":
        path.write_text("chosen = 3\n")
    else:
        (tmp_path / "other.toml").write_text("title = 1\n")
        path.symlink_to(tmp_path / "other.toml")
    before = path.read_text()
    for work in (
        lambda: keep(rig, WHOLE),
        lambda: kept(rig, CHOICES, 1.0),
        lambda: throw_away(rig),
    ):
        with pytest.raises(FileError, match="not as the bench left it"):
            work()
    assert path.read_text() == before


def test_values_that_cannot_be_are_the_usual_ones(rig):
    said = [
        'signal = "dr0p"',
        "across = 3",
        'match = "x"',
        "drops = []",
        "make_up = -1",
        'loop = [3, "a"]',
        "pinned = 4",
        "markers = 5",
    ]
    content = marked(encoded("\n".join(said)), ".toml", CALL)
    write_bytes(settings_path(rig), content)
    assert kept(rig, CHOICES, 10.0) == Settings("reel", "receiving", "both", INSTALLED)


@pytest.mark.parametrize("said", ["make_up = 40.5", "loop = [3.0, 3.0]", "make_up = true"])
def test_values_just_beyond_what_can_be_are_left_out(rig, said):
    write_bytes(settings_path(rig), marked(encoded(said), ".toml", CALL))
    found = kept(rig, CHOICES, 10.0)
    assert (found.makeup, found.loop) == (None, None)


def test_two_choices_at_most_are_pinned(rig):
    write_bytes(
        settings_path(rig), marked(encoded(f"pinned = {list(CHOICES[::2]) * 2}"), ".toml", CALL)
    )
    assert kept(rig, CHOICES, 10.0).pinned == ("reel", "é")
