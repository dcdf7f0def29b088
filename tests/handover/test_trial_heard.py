"""A blind trial on the sound of the page itself, in both browsers, up to a log that is accepted."""

import hashlib
import io
from pathlib import Path

import numpy as np
import soundfile

from support.browsers import Browser
from support.pages import base64_of, script_page
from support.sound_pages import on_grid, page_data, rendered
from support.trial_page import WORDS, checked
from support.trial_rigs import CAUSAL

RATE = 48_000
RUN = """
globalThis.hold = async (sound, data, words, trials) => {
  const pair = [0, 1].map((choice) => ({ choice, signal: "drop", across: "both" }));
  const trial = new Trial(sound, data, { protocol: "triangle", trials, listener: "Ute", pair }, words);
  const soon = () => new Promise((resolve) => setTimeout(resolve, 20));
  while (!trial.over) {
    for (const number of [0, 1, 2]) {
      trial.present(number);
      for (let n = 0; n < 500 && trial.missing.includes(number); n += 1) {
        if (!sound.playing) trial.present(number); // it had ended
        await soon();
      }
    }
    trial.answer(0);
  }
  return [trial.log, trial.outcome, sound.playing];
};
"""


def test_a_session_is_heard_to_its_end(browser: Browser, tmp_path: Path) -> None:
    rng = np.random.default_rng(4120)
    programme = on_grid(rng.normal(0.0, 0.05, (2 * RATE, 2)))
    runs = ("62 m of 2.5 mm2, driver", "300 m of 0.5 mm2, low driver")
    data = page_data(programme, RATE, [rendered(programme, RATE, CAUSAL[name]) for name in runs])
    inside = {"from": 0.0, "seconds": 2.0, "whole": True, "sha256": "5a" * 32}
    data["programme"] |= inside
    data["version"] = "0.1.0"
    data["choices"] = [
        {"name": f"choice {n}", "built": name, "rig_sha256": str(n) * 64}
        for n, name in enumerate(runs)
    ]
    file = io.BytesIO()
    soundfile.write(file, programme[:RATE], RATE, "PCM_16", format="WAV")
    page = browser.open(script_page(tmp_path, ["numbers.js", "sound.js", "trial.js"], RUN))
    log, outcome, playing = page.run(
        """globalThis.sound = new Sound(args[0]);
        await sound.load();
        return hold(sound, args[0], args[1], 2);""",
        data,
        WORDS,
    )
    check = checked(tmp_path, log)
    assert check.discrepancies == ()
    assert check.outcome is not None
    assert outcome["right"] == list(check.outcome.right)
    assert not playing
    own, _, _ = page.run(
        "await sound.open('own.wav', bytes(args[2]).buffer); return hold(sound, args[0], args[1], 1);",
        data,
        WORDS,
        base64_of(file.getvalue()),
    )
    check = checked(tmp_path, own)
    assert check.outcome is not None
    assert check.plan is not None
    assert check.plan.programme == "own.wav"
    assert check.plan.programme_sha256 == hashlib.sha256(file.getvalue()).hexdigest()
    assert page.console == []
