"""A render that is watched: shares rise to one, and stopped at any step it leaves nothing behind."""

import numpy as np
import pytest
import soundfile as sf

from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.renderer.watched import StoppedError, Watched
from auralize.rig.reading import load_rig
from support.live_session import RIG


@pytest.fixture
def sound(tmp_path):
    path = tmp_path / "bells.wav"
    noise = np.random.default_rng(3).normal(0.0, 0.1, (3 * 48_000, 2))
    sf.write(path, noise, 48_000, "PCM_24")
    return path


@pytest.fixture(scope="module")
def choices():
    return list(load_rig(RIG).choices.values())


@pytest.mark.parametrize("share", [0.0, 0.3, 0.7])
def test_stopped_it_leaves_nothing(sound, choices, share):
    class Until(Watched):
        def __call__(self, done):
            if done > share:
                self.stop()
            super().__call__(done)

    with pytest.raises(StoppedError, match="nothing was written"):
        render(sound, choices, sound.with_name("there"), RenderOptions(), Until())
    assert list(sound.parent.iterdir()) == [sound]


def test_the_share_rises_to_one(sound, choices):
    shares = []

    class Seen(Watched):
        def __call__(self, done):
            super().__call__(done)
            shares.append(self.share)

    watched = Seen()
    assert watched.words == "begun"
    render(sound, choices, sound.with_name("there"), RenderOptions(), watched)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert watched.words == "100% done, 0 s left"


def test_drops_can_be_equally_loud(sound, choices):
    """Each drop within 0.1 dB of the softest allowed by its peak; measured in the files, by BS.1770."""
    options = RenderOptions(drops="equal", signals=("drop",))
    done = render(sound, choices, sound.with_name("there"), options)
    loudness = [o.loudness for o in done.outputs]
    assert max(loudness) - min(loudness) < 0.1
    assert len({o.gains.makeup for o in done.outputs}) == len(choices)
    assert all("equal-drops" in o.path.name for o in done.outputs)
    plain = render(sound, choices, sound.with_name("there"), RenderOptions(signals=("drop",)))
    assert len({o.gains.makeup for o in plain.outputs}) == 1
