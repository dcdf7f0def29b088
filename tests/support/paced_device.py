"""A device without sound: in place of the module sounddevice, it takes blocks at the pace of playing."""

import threading
from types import SimpleNamespace

import numpy as np

NAME = "mill wheel"
RATE = 48_000


class PacedDevice:
    """What `auralize.live.device` uses of sounddevice; ``there``: whether any device is found."""

    class PortAudioError(Exception):
        """As sounddevice has it."""

    def __init__(self, *, there=True):
        self.default = SimpleNamespace(device=(-1, 0))
        self.peak = 0.0
        """The largest sample of what was played."""
        self._there = there

    def query_devices(self):
        found = {"name": NAME, "max_output_channels": 2, "default_samplerate": float(RATE)}
        return [found] if self._there else []

    def check_output_settings(self, index, channels, kind, samplerate):
        pass

    def _terminate(self):
        pass

    _initialize = _exit_handler = _terminate

    def OutputStream(self, **wished):
        return _Stream(self, **wished)


class _Stream:
    def __init__(self, owner, *, samplerate, blocksize, channels, callback, latency, **_):
        self.latency = latency
        self._owner, self._callback = owner, callback
        self._shape, self._pause = (blocksize, channels), blocksize / samplerate
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._pull, daemon=True)

    def start(self):
        self._thread.start()

    def abort(self):
        self._ended.set()
        self._thread.join(5.0)

    def close(self):
        self._ended.set()

    def _pull(self):
        out = np.zeros(self._shape, np.float32)
        while not self._ended.wait(self._pause):
            self._callback(out, len(out), None, SimpleNamespace(output_underflow=False))
            self._owner.peak = max(self._owner.peak, float(np.abs(out).max()))
