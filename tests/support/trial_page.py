"""What a page knows when it holds a blind trial, and a stand-in for what sounds there."""

import tomllib
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

from auralize.trials.checking import Check, verify
from auralize.trials.statistics import Protocol

PROTOCOLS: list[Protocol] = ["matched-to-sample", "triangle"]
WORDS = tomllib.loads((files("auralize.handover") / "texts.toml").read_text("utf-8"))["trial"]
DATA = {
    "version": version("auralize"),
    "programme": {
        "name": 'Glöckchen \U0001f514 "no. 1".wav',
        "from": 12.5,
        "seconds": 20.0,
        "whole": False,
        "sha256": "5a" * 32,
    },
    "choices": [
        {"name": "reel", "built": "pond 62 m of 2.5 mm² \\ twin", "rig_sha256": "0" * 64},
        {"name": "beams", "built": "pond 62 m\u200b of 4 mm2\x7f", "rig_sha256": "1" * 64},
    ],
    "signals": [
        {"choice": choice, "signal": signal, "across": across}
        for choice in (0, 1)
        for signal, across in (("receiving", "both"), ("drop", "both"), ("drop", "plus"))
    ],
    "steps": None,
    "differences": [
        {"choices": [0, 1], "signal": "receiving", "across": "both", "words": "0.23 dB more"},
        {"choices": [0, 1], "signal": "drop", "across": "both", "words": "2 dB less"},
    ],
}
"""What a page knows of a rig, its letters as awkward as they may be."""
RECEIVING = [{"choice": choice, "signal": "receiving", "across": "both"} for choice in (0, 1)]

# Time stands still but for `pass`; what is heard is the number of what was frozen.
STAND_IN = """
let clock = 100;
performance.now = () => 1000 * clock;
class StandIn extends EventTarget {
  inside = true; certain = true; steps = null; playing = false; volume = -20; latency = 0.1; settled = true;
  heard = { choice: 0, signal: "receiving", across: "both" };
  position = 0; slot = null; frozen = null; gains = [0, -0.42]; stepped = [];
  freeze(pair) { this.frozen = pair; return this.gains; }
  hearFrozen(slot) { this.slot = slot; }
  thaw() { this.frozen = null; }
  play() { this.playing = true; }
  pause() { this.playing = false; }
  step(at) { this.steps = at; this.stepped.push(at); }
  setVolume(dB) { this.volume = dB; }
  pass(seconds) { clock += seconds; if (this.playing) this.position += seconds; }
}
const heardOf = (trial, sound, seconds = 0.31) => [0, 1, 2].map((number) => {
  trial.present(number);
  trial.look();
  sound.pass(seconds);
  trial.look();
  return sound.slot;
});
/* Whoever hears every difference. */
const sure = (plays, protocol) => protocol === "triangle"
  ? plays.findIndex((one) => plays.filter((other) => other === one).length === 1) : plays[2];
function run(data, words, wish, answerOf, sound = new StandIn()) {
  const trial = new Trial(sound, data, wish, words);
  const shown = trial.commitment;
  while (!trial.over) trial.answer(answerOf(heardOf(trial, sound), trial.answered, wish.protocol));
  const { log, fingerprint, outcome } = trial;
  const told = Trial.findings(outcome.result, words.findings);
  return { log, shown, fingerprint, outcome, told, thawed: sound.frozen === null };
}
"""


def checked(folder: Path, log: str | bytes) -> Check:
    path = folder / "log.jsonl"
    path.write_bytes(log.encode("ascii") if isinstance(log, str) else log)
    return verify(path)
