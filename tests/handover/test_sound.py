"""What the page plays, as both browsers render it: against the renderer, sample by sample."""

import numpy as np
import pytest

from auralize.units import amplitude, decibels
from support.sound_pages import on_grid, page_data, rendered, samples_of, write_page
from support.trial_rigs import CAUSAL

LONG, SHORT = CAUSAL["300 m of 0.5 mm2, low driver"], CAUSAL["62 m of 2.5 mm2, driver"]
WITHIN = -120.0
"""dB re the highest sample: what a hand-over promises. Single precision with headroom: about -135 dB."""


def noise(rate, seconds=1.0, channels=2, seed=14):
    """Pink by a running sum that forgets, so that low and high both count."""
    from scipy.signal import lfilter

    white = np.random.default_rng(seed).normal(0.0, 0.02, (round(rate * seconds), channels))
    return on_grid(0.5 * white + lfilter([1.0], [1.0, -0.98], white, axis=0) / 3)


def off(got, wanted):
    """dB of the largest difference, re the highest of what is wanted."""
    return decibels(float(np.abs(got - wanted).max() / np.abs(wanted).max()))


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_the_page_renders_what_the_renderer_does(browser, tmp_path, rate):
    programme = noise(rate)
    choices = [rendered(programme, rate, network) for network in (LONG, SHORT)]
    page = browser.open(write_page(tmp_path / "page.html", page_data(programme, rate, choices)))
    wanted = [(None, "source", "both", programme)]
    wanted += [
        (n, *kind, wet) for n, choice in enumerate(choices) for kind, (_, wet) in choice.items()
    ]
    for choice, signal, across, wet in wanted:
        got = page.run(
            """await bench.ready;
            const heard = {choice: args[0], signal: args[1], across: args[2]};
            const made = await sound.offline(heard);
            return [asText(channelsOf(made)), sound.gains(heard).total];""",
            choice,
            signal,
            across,
        )
        assert off(samples_of(got[0], 2), wet * amplitude(got[1])) < WITHIN, (choice, signal)
    assert (page.console, page.requests) == ([], [])
