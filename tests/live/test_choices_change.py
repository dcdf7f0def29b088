"""Choices copied, renamed, removed and added while the sound goes on; what was played is replayed exactly."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf

from auralize.errors import AuralizeError
from auralize.gains import SOURCE, End
from auralize.live.played import renewed
from auralize.live.player import replay
from auralize.live.programme import Programme
from auralize.live.sources import FileFeed
from auralize.rig.editing import RigDraft
from support.live_session import RIG, stretched
from support.pumped import BLOCK, RATE, until
from support.timeline_reference import reference


def copy_of(choice, name):
    return replace(choice, name=name, label=name)


def test_a_copy_is_there_at_once_with_the_same_filters_and_gains(pumped, saltmarsh):
    pumped.measured()
    listening = pumped.listening
    listening.update_choice(copy_of(saltmarsh["reel"], "longer"))
    assert not listening.designer.busy
    listening.hear(End("drop", "longer"))
    assert listening.status().heard == End("drop", "longer")
    for signal in ("receiving", "drop"):
        assert listening.gains(End(signal, "longer")) == listening.gains(End(signal, "reel"))


def test_renaming_what_is_heard_changes_no_sample(pumped, saltmarsh):
    """New name, heard by it, old name gone: filters are the same, so there is nothing to fade."""
    pumped.measured()
    listening = pumped.listening
    listening.transport.play()
    pumped.pump(20)
    pumped.hear(End("receiving", "reel"))
    pumped.pump(10)
    now = listening._sounding.now.voice
    listening.update_choice(copy_of(saltmarsh["reel"], "off its reel"))
    listening.hear(End("receiving", "off its reel"))
    listening.remove_choice("reel")
    pumped.pump(20)
    assert listening._sounding.now.voice.taps is now.taps
    assert listening.status().heard == End("receiving", "off its reel")
    with pytest.raises(AuralizeError, match="off its reel"):
        listening.hear(End("receiving", "reel"))


def test_a_new_choice_can_be_heard_before_it_is_designed(pumped, saltmarsh):
    listening = pumped.listening
    new = copy_of(stretched(saltmarsh["reel"], 3.0), "new")
    listening.update_choice(new)
    listening.hear(End("receiving", "new"))
    pumped.pump_until(lambda: listening.status().heard == End("receiving", "new"))
    assert listening.wanted.choices["new"] == new


def test_what_is_heard_stays_until_what_takes_its_place_is_there(pumped, saltmarsh):
    """Edited and named anew at once: neither the source nor silence is heard in between."""
    listening = pumped.listening
    pumped.hear(End("receiving", "reel"))
    seen = []
    listening.update_choice(copy_of(stretched(saltmarsh["reel"], 3.0), "far"))
    listening.hear(End("receiving", "far"))
    listening.remove_choice("reel")
    seen.append(listening.status().heard)

    def there():
        seen.append(listening.status().heard)
        return seen[-1] == End("receiving", "far")

    pumped.pump_until(there)
    assert set(seen) <= {End("receiving", "reel"), End("receiving", "far")}
    assert set(listening.wanted.choices) == {"bought", "beams", "far"}


def test_what_waits_is_given_up_where_something_else_is_heard(pumped, saltmarsh):
    listening = pumped.listening
    pumped.hear(End("receiving", "reel"))
    listening.update_choice(copy_of(stretched(saltmarsh["reel"], 3.0), "far"))
    listening.hear(End("receiving", "far"))
    listening.remove_choice("reel")
    listening.hear(End("receiving", "bought"))
    pumped.pump_until(lambda: "far" in listening.wanted.choices)
    assert listening.status().heard == End("receiving", "bought")
    assert set(listening.wanted.choices) == {"bought", "beams", "far"}


def test_what_waits_for_a_choice_that_cannot_be_is_given_up(pumped, saltmarsh):
    listening = pumped.listening
    pumped.hear(End("receiving", "reel"))
    impossible = replace(copy_of(stretched(saltmarsh["reel"], 3.0), "far"), listen="nowhere")
    listening.update_choice(impossible)
    listening.hear(End("receiving", "far"))
    listening.remove_choice("reel")
    until(lambda: not listening.designer.busy)
    assert listening.status().heard == SOURCE
    assert set(listening.wanted.choices) == {"bought", "beams"}


def test_what_is_removed_while_it_is_designed_stays_away(pumped, saltmarsh):
    listening = pumped.listening
    listening.update_choice(stretched(saltmarsh["reel"], 3.0))
    listening.remove_choice("reel")
    until(lambda: not listening.designer.busy)
    assert "reel" not in listening.wanted.choices
    listening.update_choice(saltmarsh["reel"])  # taken back
    until(lambda: "reel" in listening.wanted.choices)


def test_gains_are_shared_by_those_that_are_there(pumped, saltmarsh):
    """The make-up of all drops is held down by the loudest, that of the thinnest cable or of the beams."""
    pumped.measured()
    listening = pumped.listening
    before = listening.gains(End("drop", "bought")).makeup
    for name in ("reel", "beams"):
        listening.remove_choice(name)
    assert listening.gains(End("drop", "bought")).makeup > before


def test_where_the_one_that_is_heard_goes_the_source_is_heard(pumped):
    pumped.hear(End("drop", "beams"))
    pumped.listening.remove_choice("beams")
    assert pumped.listening.status().heard == SOURCE


def test_another_rate_knows_what_went_meanwhile(pumped, saltmarsh, programme):
    listening = pumped.listening
    listening.remove_choice("beams")
    listening.update_choice(copy_of(saltmarsh["reel"], "copy"))
    new = renewed(listening, 44_100, FileFeed(programme))
    try:
        assert set(new.wanted.choices) == {"reel", "bought", "copy"}
        new.hear(End("drop", "copy"))
    finally:
        new.close()


def test_a_session_of_comings_and_goings_is_what_its_timeline_says(pumped, programme, saltmarsh):
    listening = pumped.listening
    listening.transport.play()
    pumped.pump(40)
    for number in range(6):
        name = f"copy {number}"
        listening.update_choice(copy_of(stretched(saltmarsh["reel"], 1.0 + number), name))
        listening.hear(End("receiving", name))
        pumped.pump_until(lambda name=name: listening.status().heard == End("receiving", name))
        pumped.pump(12)
        listening.remove_choice(name)
        pumped.pump(12)
    samples, _ = sf.read(programme, always_2d=True)
    out = np.concatenate(pumped.outputs)
    setup, journal = listening.player.setup, listening.journal
    again = np.concatenate(list(replay(setup, journal, Programme(programme, RATE))))
    np.testing.assert_array_equal(out, again)
    assert np.abs(out - reference(setup, journal, samples, BLOCK)).max() < 1e-7


def test_an_edit_to_a_longer_filter_is_heard_with_the_next_block(pumped, tmp_path):
    """There is room for it: a convolver that grows first has to fill, 16 blocks or more."""
    rig = tmp_path / "rig.toml"
    rig.write_bytes(RIG.read_bytes())
    draft = RigDraft(rig)
    pumped.measured()
    listening, before = pumped.listening, len(pumped.listening._known.filters["reel"].drop.taps)
    listening.transport.play()
    pumped.hear(End("drop", "reel"))
    pumped.pump(10)
    until(lambda: listening.player.ready)
    switches, blocks = listening.player.switches, listening.player.blocks
    draft.change("reel", ("runs", "pond", "length"), "90 m")
    thin = draft.change("reel", ("cables", "reel", "conductor"), "1.5 mm2").choices["reel"]
    listening.update_choice(thin)
    until(lambda: not listening.player.ready)
    pumped.pump_until(lambda: listening.player.switches == switches + 1)
    assert listening.player.blocks - blocks < 8  # it is handed over between two of them
    assert len(listening._known.filters["reel"].drop.taps) > before
