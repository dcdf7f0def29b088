"""A stand-in for the module sounddevice: devices that a test plugs in, streams whose blocks it asks for."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np


class PortAudioError(Exception):
    """As PortAudio raises."""


class FakeStream:
    """An open stream; `ask` does what the device's own thread would do."""

    def __init__(self, **form):
        self.form = form
        self.latency = form["latency"] + 0.01
        self.started = self.aborted = self.closed = False
        self.played = []

    def start(self):
        self.started = True

    def abort(self):
        self.aborted = True

    def close(self):
        self.closed = True

    def ask(self, blocks=1, underflow=False):
        """So many blocks; (frames, channels)."""
        asked = []
        for _ in range(blocks):
            out = np.full((self.form["blocksize"], self.form["channels"]), 9.0, np.float32)
            status = SimpleNamespace(output_underflow=underflow)
            self.form["callback"](out, len(out), None, status)
            asked.append(out)
        self.played += asked
        return np.concatenate(asked)

    def come(self, samples):
        """Sound comes in."""
        self.form["callback"](samples, len(samples), None, None)

    def end(self):
        """As a server that is killed does."""
        self.form["finished_callback"]()


class FakeSounddevice:
    """What `auralize.live.device` uses of the module; everything that was called is in ``calls``."""

    PortAudioError = PortAudioError

    def __init__(self, *names, channels=2, rates=(48_000,)):
        self.names, self.channels, self.rates = list(names), channels, rates
        self.default = SimpleNamespace(device=(0, 0))
        self.streams, self.calls = [], []
        self.hearing = ()
        """Of the outputs, those that are inputs as well."""
        self.refuses = None
        """What opening a stream raises."""
        self.deaf = None
        """What opening an input raises."""

    @property
    def stream(self):
        """The stream opened last."""
        return self.streams[-1]

    def query_devices(self):
        outputs = [
            {
                "name": n,
                "max_output_channels": self.channels,
                "max_input_channels": 2 * (n in self.hearing),
                "default_samplerate": self.rates[0],
            }
            for n in self.names
        ]
        ear = {"name": "ear", "max_output_channels": 0, "default_samplerate": self.rates[0]}
        return [*outputs, {**ear, "max_input_channels": 1}]

    def check_input_settings(self, index, channels, kind, samplerate):
        self.check_output_settings(index, channels, kind, samplerate)

    def check_output_settings(self, index, channels, kind, samplerate):
        assert kind == "float32"
        if samplerate not in self.rates:
            raise PortAudioError("Invalid sample rate")

    def OutputStream(self, **form):
        if self.refuses is not None:
            raise self.refuses
        self.streams.append(FakeStream(**form))
        return self.stream

    def InputStream(self, **form):
        if self.deaf is not None:
            raise self.deaf
        return self.OutputStream(**form)

    def _terminate(self):
        self.calls.append("terminate")

    def _initialize(self):
        self.calls.append("initialize")

    def _exit_handler(self):
        self.calls.append("exit")
