"""The drop over both conductors, over plus and over minus: live as it is rendered into files."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf

from auralize.circuit.solution import ACROSS
from auralize.errors import AuralizeError, RequestError
from auralize.gains import End
from auralize.live.measurer import predicted
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.rig.reading import load_rig
from auralize.units import amplitude
from support.live_session import RIG
from support.pumped import BLOCK, RATE, Pumped, settled, until

PATH = RIG.with_name("path.toml")
MAKEUP = 6.0
"""dB, in file and bench alike."""
VOLUME = -20.0
"""dB, at which every listening begins."""


@pytest.fixture(scope="module")
def path():
    return load_rig(PATH)


@pytest.fixture
def pumped(programme, path):
    """One whose conductors differ, and one whose are alike."""
    pumped = Pumped(programme, {name: path[name] for name in ("corroded", "sound")})
    yield pumped
    pumped.close()


def from_start(pumped, heard, blocks):
    """What this sounds like from the start of the programme."""
    transport = pumped.listening.transport
    transport.play()
    pumped.pump(60)  # the soft start is over
    pumped.hear(heard)
    transport.pause()
    pumped.pump(120)  # the filter has forgotten what was played
    transport.seek(0)
    settled(transport)
    transport.play()
    return pumped.pump(blocks).astype(float)


@pytest.mark.parametrize("across", ACROSS)
@pytest.mark.parametrize("name", ["corroded", "sound"])
def test_the_bench_plays_what_render_writes(pumped, programme, path, tmp_path, name, across):
    """To -120 dB of its peak, but for the block in which a player fades in."""
    wishes = RenderOptions(signals=("drop",), across=across, makeup=MAKEUP, depth="DOUBLE")
    (output,) = render(programme, [path[name]], tmp_path, wishes).outputs
    written, _ = sf.read(output.path)
    pumped.measured()
    pumped.listening.set_makeup(MAKEUP)
    blocks = 2 * RATE // BLOCK
    heard = End("drop", name, across)
    played = from_start(pumped, heard, blocks)
    gain = amplitude(VOLUME + pumped.listening.gains(heard).total - output.gains.total)
    late = len(played) - RATE
    place = _place(played, written, late)
    wanted = gain * written[place : place + RATE]
    assert np.abs(played[late:] - wanted).max() <= 1e-6 * np.abs(wanted).max()
    assert np.abs(wanted).max() > 1e-4


def _place(played, written, late):
    """Where in the file a second is that was played, by correlation."""
    piece = played[late:, 0]
    size = 1 << (len(written) + len(piece)).bit_length()
    spectrum = np.fft.rfft(written[:, 0], size) * np.fft.rfft(piece, size).conj()
    return int(np.argmax(np.fft.irfft(spectrum, size)))


def test_levels_are_those_of_each_conductor(pumped):
    """Measured where they differ; half of the whole where they are alike."""
    pumped.measured()
    known = pumped.listening._known
    corroded, sound = known.levels["corroded"], known.levels["sound"]
    assert set(corroded.drops) == set(sound.drops) == set(ACROSS)
    assert corroded.drops["plus"].loudness > corroded.drops["minus"].loudness + 3.0
    for across in ("plus", "minus"):
        assert sound.drops[across] == sound.drop.scaled(0.5)
    assert corroded.measured


def test_levels_are_predicted_for_each_conductor(pumped, path):
    pumped.measured()
    known = pumped.listening._known
    guess = predicted(path["corroded"], known.source.energies, known.source.level)
    for across, level in known.levels["corroded"].drops.items():
        # A tone between two bands through a slope of 6 dB per octave: see `BandEnergies`.
        assert guess.drops[across].loudness == pytest.approx(level.loudness, abs=0.11)
        assert not guess.drops[across].measured


def test_each_has_a_make_up_of_its_own_as_a_render_has(pumped, programme, path, tmp_path):
    pumped.measured()
    pumped.listening.set_makeup(None)
    for across in ACROSS:
        choices = [path["corroded"], path["sound"]]
        done = render(programme, choices, tmp_path / across, RenderOptions(across=across))
        for output in done.outputs:
            heard = End(output.signal, output.choice, across).plain
            assert pumped.listening.gains(heard).makeup == output.gains.makeup


def test_what_a_transformer_parts_is_refused_and_what_was_heard_stays(programme, path):
    pumped = Pumped(programme, {"gate": replace(path["sound"].at("gate"), name="gate")})
    pumped.measured()
    pumped.listening.transport.play()
    pumped.hear(End("drop", "gate"))
    for refused in (
        lambda: pumped.listening.hear(End("drop", "gate", "plus")),
        lambda: pumped.listening.load_slots([End("drop", "gate", "minus")]),
    ):
        with pytest.raises(RequestError, match="there is a transformer on the way to 'gate'"):
            refused()
    assert pumped.listening.status().heard == End("drop", "gate")
    pumped.hear(End("receiving", "gate", "plus").plain)
    with pytest.raises(AuralizeError, match="across 'earth' is not known"):
        pumped.listening.hear(End("drop", "gate", "earth"))
    pumped.close()


def test_an_edit_that_parts_the_conductors_leaves_the_whole_drop(pumped, path):
    """It is heard as soon as it can be, and the bench is told why."""
    listening = pumped.listening
    listening.transport.play()
    pumped.hear(End("drop", "sound", "minus"))
    listening.update_choice(path["sound"].at("gate"))
    until(lambda: pumped.events)
    (event,) = pumped.events
    assert "sound: the change is heard over both conductors: choice 'sound'" in event.text
    assert listening.status().heard == End("drop", "sound")
    whole = listening._known.filters["sound"].drop.taps
    pumped.pump_until(lambda: listening._sounding.now.voice.taps is whole)
    with pytest.raises(RequestError, match="transformer"):
        listening.hear(End("drop", "sound", "minus"))
