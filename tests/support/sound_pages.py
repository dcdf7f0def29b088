"""A bare page that can only sound: the scripts of the real one, with data made straight from networks."""

from __future__ import annotations

import base64
import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

import auralize
from auralize.audio.metering import Meter
from auralize.circuit.network import Network
from auralize.filters.fir import design_run
from auralize.filters.stream import through
from auralize.gains import DROP_GATED_AFTER

Samples = NDArray[np.float64]
SCRIPTS = ("numbers.js", "sound.js")
POLICY = "default-src 'none'; script-src 'unsafe-inline'"


def floats(values: NDArray[Any]) -> str:
    """Base64 of little-endian single precision, as the page takes taps."""
    return base64.b64encode(np.asarray(values, "<f4").tobytes()).decode()


def samples_of(text: str, channels: int) -> Samples:
    """What a page gave back as base64 of its channels, one after the other."""
    got = np.frombuffer(base64.b64decode(text), "<f4").astype(np.float64)
    return got.reshape(channels, -1).T


def flac(samples: Samples, rate: int) -> bytes:
    """24-bit FLAC."""
    file = io.BytesIO()
    soundfile.write(file, samples, rate, "PCM_24", format="FLAC")
    return file.getvalue()


def on_grid(samples: Samples) -> Samples:
    """Rounded to 24 bits, which FLAC carries as they are."""
    return np.round(np.asarray(samples) * 2.0**23) / 2.0**23


def level(samples: Samples, rate: int, signal: str) -> dict[str, float | None]:
    """Loudness (None: silence) and true peak of (frames, channels), as the page is told them."""
    meter = Meter(rate, samples.shape[1])
    meter.add(samples)
    found = meter.level_before(DROP_GATED_AFTER if signal == "drop" else 0.0)
    loudness = float(found.loudness) if np.isfinite(found.loudness) else None
    return {"loudness": loudness, "peak": float(found.peak)}


def rendered(samples: Samples, rate: int, network: Network, load: str = "load") -> dict:
    """By (signal, across): taps, and what the renderer makes of (frames, channels), in double precision."""
    filters = design_run(network, load, rate)
    kinds = [("receiving", "both"), *(("drop", across) for across in filters.drops)]
    found = {}
    for kind in kinds:
        fir = filters.of(*kind)
        wet = np.concatenate([made[0] for _, made in through([samples], [fir], samples.shape[1])])
        found[kind] = fir, wet[: len(samples)]
    return found


def page_data(
    samples: Samples,
    rate: int,
    choices: Sequence[Mapping[tuple[str, str], Any]],
    steps: Sequence[Sequence[Mapping[tuple[str, str], Any]]] = (),
    **more: Any,
) -> dict[str, Any]:
    """The data of a page that holds a programme (frames, channels) and `rendered` choices."""

    def signals(made: Sequence[Mapping[tuple[str, str], Any]]) -> list[dict[str, Any]]:
        return [
            {"choice": n, "signal": signal, "across": across, "taps": floats(fir.taps)}
            | level(wet, rate, signal)
            for n, choice in enumerate(made)
            for (signal, across), (fir, wet) in choice.items()
        ]

    delay = next(iter(choices[0].values()))[0].delay
    inside = base64.b64encode(flac(samples, rate)).decode()
    return {
        "rate": rate,
        "frames": len(samples),
        "channels": samples.shape[1],
        "delay": delay,
        "programme": {"name": "bells.wav", "data": inside} | level(samples, rate, "source"),
        "choices": [{"name": f"choice {n}"} for n in range(len(choices))],
        "signals": signals(choices),
        "steps": {"at": [str(n) for n in range(len(steps))], "signals": [signals(s) for s in steps]}
        if steps
        else None,
        "offered": {"match": "installed", "drops": "one", "makeup": None},
    } | more


def write_page(path: Path, data: Mapping[str, Any]) -> Path:
    """A page whose `bench` is ready to play."""
    folder = Path(auralize.__file__).parent / "handover"
    scripts = "\n".join(f"<script>{(folder / name).read_text()}</script>" for name in SCRIPTS)
    told = json.dumps(data).replace("<", "\\u003c")
    path.write_text(
        f"""<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>Tide mill</title>
<meta http-equiv="Content-Security-Policy" content="{POLICY}"></head><body>
<script type="application/json" id="data">{told}</script>{scripts}
<script>{TEXT_OF_SAMPLES}{GIVEN}</script></body></html>"""
    )
    return path


TEXT_OF_SAMPLES = """
const asText = (parts) => {
  const bytes = new Uint8Array(parts.reduce((all, part) => all + part.byteLength, 0));
  let at = 0;
  for (const part of parts) {
    bytes.set(new Uint8Array(part.buffer, part.byteOffset, part.byteLength), at);
    at += part.byteLength;
  }
  let text = "";
  for (let n = 0; n < bytes.length; n += 32768) {
    text += String.fromCharCode(...bytes.subarray(n, n + 32768));
  }
  return btoa(text);
};
const channelsOf = (buffer) =>
  Array.from({ length: buffer.numberOfChannels }, (_, n) => buffer.getChannelData(n));
"""
"""How a page tells its samples: see `samples_of`."""
GIVEN = """
const sound = new Sound(JSON.parse(document.getElementById("data").textContent));
window.bench = { sound, ready: sound.load() };
const sleep = (seconds) => new Promise((resolve) => setTimeout(resolve, 1000 * seconds));
const asBytes = (base64) => Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0)).buffer;
"""
