"""One open stream, and what is seen of it from its callback alone."""

from __future__ import annotations

from collections.abc import Callable

from auralize.live.device import (
    Device,
    Form,
    Opened,
    Put,
    open_input,
    open_output,
)
from auralize.live.player import Block


class Stream:
    """A stream that plays. Once `close` is called, it never calls for sound again, whatever becomes of it."""

    def __init__(self, device: Device, form: Form, render: Callable[[Block], None]) -> None:
        self.device, self.form = device, form
        self.beats = self.underruns = 0
        self._sounds = False  # whether there was anything in the block made last
        self.finished = False
        self.error: Exception | None = None
        self._render, self._muted = render, False
        self._output = open_output(device, form, self._fill, self._finish)
        self.latency = float(self._output.latency)
        try:
            self._output.start()
        except BaseException:
            self._output.close()
            raise

    def close(self) -> None:
        """Give silence from now on, and end the stream; may block for good."""
        self._muted = True
        self._output.abort()
        self._output.close()

    def _fill(self, out: Block, underrun: bool) -> None:
        self.underruns += underrun and self._sounds  # nobody hears a gap in silence
        self._sounds = False
        if self._muted:
            out.fill(0.0)
            return
        try:
            self._render(out)
        except Exception as error:  # would end the stream without a word
            out.fill(0.0)
            self.error, self._muted = error, True
        self._sounds = bool(out.any())
        self.beats += 1

    def _finish(self) -> None:
        self.finished = True


class Intake:
    """A stream of what comes in alone. Once `close` is called, it gives no more."""

    def __init__(self, source: Device, form: Form, put: Put) -> None:
        self.beats = 0
        self.finished = self._muted = False
        self._put = put
        self._stream: Opened = open_input(source, form, self._come, self._finish)
        self.latency = float(self._stream.latency)
        try:
            self._stream.start()
        except BaseException:
            self._stream.close()
            raise

    def close(self) -> None:
        """End the stream; may block for good."""
        self._muted = True
        self._stream.abort()
        self._stream.close()

    def _come(self, came: Block) -> None:
        if not self._muted:
            self._put(came)
            self.beats += 1

    def _finish(self) -> None:
        self.finished = True
