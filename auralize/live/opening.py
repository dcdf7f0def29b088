"""Opening and closing a device, with a limit to how long that may take: see `auralize.live.keeper`."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Any, Final, TypeVar

from auralize.live.calls import Call, StuckError
from auralize.live.device import (
    Device,
    DeviceError,
    Form,
    chosen_device,
    leave_open,
    output_devices,
    playing_rate,
)
from auralize.live.incoming import Incoming
from auralize.live.input_feed import InputFeed
from auralize.live.input_side import InputSide
from auralize.live.played import Played
from auralize.live.stream import Stream

OPEN_LIMIT: Final = 3.0
"""s that each call may take while a device is opened; then the sound server is said not to answer."""
CLOSE_LIMIT: Final = 1.0
"""s that closing may take before the stream is left behind."""
MOST_OUTPUTS: Final = 2
"""Channels of a device that are played to."""

T = TypeVar("T")


class Opener:
    """Opens devices for what is ``played``, one at a time, and closes them."""

    def __init__(self, played: Played) -> None:
        self.device: Device | None = None
        """The one that was opened, or tried, last."""
        self.devices: list[Device] = []
        """Those there were then."""
        self._played = played
        feed = played.feed
        self.input = InputSide(feed, self._call) if isinstance(feed, InputFeed) else None
        """What comes in, where that is played."""
        self._opening: Call[Any] | None = None
        self._left_behind: list[Call[None]] = []

    @property
    def busy(self) -> bool:
        """True while a call that was given up goes on."""
        return self._opening is not None and self._opening.running

    def open(self, wanted: str | None, buffer: float) -> Stream:
        """Play on a device, by its name or number; None: the default one.

        Raises StuckError, DeviceError, or what PortAudio raises.
        """
        anew = not self._any_left_behind
        self.devices = self._call(lambda: output_devices(anew))
        device, played = chosen_device(self.devices, wanted), self._played
        channels = min(MOST_OUTPUTS, device.channels)
        if channels < played.listening.channels:
            raise DeviceError(
                f"{device.name} has one channel and the programme two; choose another"
            )
        if self.input is None:
            rate = self._call(lambda: playing_rate(device, channels, played.file_rate))
        else:
            rate = self.input.rate(device, channels)
        self.device = device
        listening = played.begin(device.name, rate)
        form = Form(rate, listening.player.block, channels, buffer)
        if self.input is not None:
            assert isinstance(listening.transport, Incoming)
            return self.input.open(device, form, played.render, listening.transport)
        return self._call(
            lambda: Stream(device, form, played.render), lambda stream: stream.close()
        )

    def close(self, stream: Stream) -> None:
        """Let go of a stream; leave it behind if it does not end."""
        if self.input is not None:
            self.input.close()
        closing = Call(stream.close)
        with suppress(Exception):  # the stream is gone anyway
            try:
                closing.result(CLOSE_LIMIT)
            except StuckError:
                self._left_behind.append(closing)

    def leave(self) -> None:
        """At the very end: where a call is stuck, do not wait for it at exit."""
        if self.busy or self._any_left_behind:
            leave_open()

    @property
    def _any_left_behind(self) -> bool:
        return any(call.running for call in self._left_behind)

    def _call(self, work: Callable[[], T], late: Callable[[T], None] | None = None) -> T:
        call = Call(work, late)
        self._opening = call
        return call.result(OPEN_LIMIT)
