"""The input side of a device that plays a live input: opened with it, lost and found again by itself.

Each side has a stream of its own. (One stream for both plays memory that nobody wrote when it is opened:
measured, PortAudio 19.6 on ALSA.) Where they are one device they have one clock, and nothing is resampled.
When the input is lost the output stays up in silence, and the input is tried for again.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Final, Protocol, TypeVar

from auralize.filters.grid import predelay
from auralize.live.calls import StuckError
from auralize.live.device import (
    Device,
    DeviceError,
    Form,
    chosen_device,
    input_devices,
    playing_rate,
    shared_rate,
)
from auralize.live.drift import LARGE_DRIFT, MOST_DRIFT
from auralize.live.incoming import CHANNELS, DRIFT_KNOWN, Incoming
from auralize.live.input_feed import FIRST_RATE, InputFeed
from auralize.live.input_status import InputState, InputStatus
from auralize.live.player import Block
from auralize.live.status import Event
from auralize.live.stream import Intake, Stream

INPUT_AGAIN: Final = 1.0
"""s between two attempts to open an input that is lost."""
INPUT_SILENT: Final = 0.7
"""s without a callback after which the input is said to give no sound."""
NEAR_LIMIT: Final = 0.99
"""Of `MOST_DRIFT`, from which the loop is said not to follow."""
INPUT_GAPS_EVERY: Final = 5.0
"""s between two words on gaps."""

T = TypeVar("T")


class Calling(Protocol):
    """Makes a call that may never return, with a limit to its time."""

    def __call__(self, work: Callable[[], T], late: Callable[[T], None] | None = None) -> T: ...


class InputSide:
    """Opens the input of a ``feed``. For the keeper's thread alone."""

    def __init__(self, feed: InputFeed, call: Calling) -> None:
        self.source: Device | None = None
        self._wanted, self._guard, self._call = feed.wanted, feed.guard, call
        self._transport: Incoming | None = None
        self._intake: Intake | None = None
        self._form: Form | None = None
        self._latency = 0.0
        self._lost = False
        self._again = False
        self._pair: tuple[str, str] | None = None
        self._news: list[str] = []
        self._next_try = math.inf
        self._beats, self._beat_at = -1, 0.0
        self._drift_at, self._gap_at, self._gaps = math.inf, -math.inf, 0

    # ---- opening and closing, with the output

    def rate(self, output: Device, channels: int) -> int:
        """Hz for both; raises DeviceError."""
        self.source = None
        try:
            source = chosen_device(self._call(input_devices), self._wanted, "input")
            rate = self._call(lambda: shared_rate(source, output, channels, FIRST_RATE))
        except DeviceError as error:
            self._lose(str(error))
            return self._call(lambda: playing_rate(output, channels, FIRST_RATE))
        self.source = source
        return rate

    def open(
        self, output: Device, form: Form, render: Callable[[Block], None], transport: Incoming
    ) -> Stream:
        """Both, or the output alone where the input does not go; raises what that raises."""
        self._transport, self._form, self._again = transport, form, False
        source = self.source
        if source is None:
            transport.begin(one_clock=True, apart=False)
            return self._output(output, form, render)
        pair = (source.name, output.name)
        if pair != self._pair:
            self._guard.shut()
        self._pair = pair
        transport.begin(one_clock=source.name == output.name)
        stream = self._output(output, form, render)
        self._try()
        return stream

    def _output(self, output: Device, form: Form, render: Callable[[Block], None]) -> Stream:
        return self._call(lambda: Stream(output, form, render), lambda late: late.close())

    def close(self) -> None:
        """Let go of the input, before the output."""
        intake, self._intake = self._intake, None
        self._next_try = self._drift_at = math.inf
        if intake is not None:
            with suppress(Exception):  # it is gone anyway
                self._call(intake.close)

    # ---- watching

    def watch(self, output: Stream | None, tell: Callable[[Event], None]) -> bool:
        """From time to time; True when both sides have to be opened anew."""
        if output is not None:
            self._look()
        for text in self._news:
            tell(Event("device", text))
        self._news = []
        again, self._again = self._again, False
        return again

    def _look(self) -> None:
        now, intake = time.monotonic(), self._intake
        if now >= self._next_try:
            self._try()
        elif intake is not None and intake.finished:
            self.close()
            self._lose(f"the input {self._name} is gone")
        elif intake is not None and intake.beats != self._beats:
            self._beats, self._beat_at = intake.beats, now
            if self._lost:
                self._found(intake.latency)
        elif intake is not None and not self._lost and now - self._beat_at > INPUT_SILENT:
            self._lost = True
            self._say(f"the input {self._name} gives no sound; silence is played until it does")
        self._look_at_drift(now)
        self._look_at_gaps(now)

    def _look_at_gaps(self, now: float) -> None:
        gaps = self._transport.starved if self._transport else 0
        if gaps > self._gaps and not self._lost and now > self._gap_at + INPUT_GAPS_EVERY:
            self._gap_at = now
            self._say(f"the input {self._name} came too late, so the sound had a gap")
        self._gaps = gaps

    def _look_at_drift(self, now: float) -> None:
        drift = self._transport.drift if self._transport else None
        if drift is None or self._lost or now < self._drift_at:
            return
        self._drift_at = math.inf
        if words := drift_words(drift):
            self._say(words)

    def status(self, rate: int) -> InputStatus:
        """With filters at ``rate`` Hz."""
        transport, state = self._transport, self._state
        return InputStatus(
            name=self._name,
            state=state,
            latency=self._latency,
            ours=predelay(rate) / rate + (transport.held if transport else 0.0),
            drift=transport.drift if transport else None,
        )

    @property
    def _state(self) -> InputState:
        transport = self._transport
        if self._lost or transport is None:
            return "lost"
        if transport.playing:
            return "sounding"
        return "muted" if self._guard.open else "waiting"

    @property
    def _name(self) -> str:
        return self.source.name if self.source else self._wanted or "default"

    def _say(self, text: str) -> None:
        self._news.append(text)

    def _lose(self, reason: str) -> None:
        if not self._lost or self._next_try == math.inf:
            self._say(f"{reason}; silence is played until it is back")
        self._lost = True
        self._next_try = time.monotonic() + INPUT_AGAIN

    def _found(self, latency: float) -> None:
        if self._lost:
            self._say(f"the input {self._name} is back")
        self._lost, self._latency, self._next_try = False, latency, math.inf
        self._drift_at = time.monotonic() + DRIFT_KNOWN

    def _try(self) -> None:
        """Open the input alone."""
        self._next_try = time.monotonic() + INPUT_AGAIN
        transport, form = self._transport, self._form
        if transport is None or form is None:
            return
        try:
            source = self.source or chosen_device(self._call(input_devices), self._wanted, "input")
            channels = min(CHANNELS, source.channels)
            own = Form(form.rate, form.block, channels, form.buffer)
            intake = self._call(
                lambda: Intake(source, own, transport.put), lambda late: late.close()
            )
        except StuckError:
            self._lose("the sound server does not answer for the input")
        except Exception as error:  # PortAudio's own has no class before it is there
            self._lose(f"the input {self._name} does not open ({error})")
        else:
            self.source = source
            if not transport.apart:  # it was not there when the output was opened
                self._call(intake.close)
                self._again = True
                return
            transport.rise_slowly()
            self._intake = intake
            self._beats, self._beat_at = -1, time.monotonic()
            self._found(intake.latency)


def drift_words(drift: float) -> str:
    """What there is to say of clocks that differ by so much of the rate; nothing where it is little."""
    parts = f"{abs(1e6 * drift):.0f} parts in a million"
    if abs(drift) > NEAR_LIMIT * MOST_DRIFT:
        return (
            f"the clocks of input and output differ by {parts} or more, which cannot be followed: "
            "there will be gaps; use one device for both"
        )
    if abs(drift) > LARGE_DRIFT:
        return f"the clocks of input and output differ by {parts}, which is a lot; it is followed"
    return ""
