"""What C libraries print, kept off the screen."""

from __future__ import annotations

import os
import sys
import threading
import weakref
from collections import deque
from typing import IO, Any


class QuietStderr:
    """Keeps what C libraries print off the screen: file descriptor 2 leads into a pipe meanwhile.

    Python's own stderr goes on to where it went, also for a screen that is drawn on it, if that looks
    for its terminal after `begin`. The last lines caught are in ``lines``.
    """

    def __init__(self) -> None:
        self.lines: deque[str] = deque(maxlen=50)
        self._streams: tuple[Any, Any] | None = None
        self._saved = -1

    def begin(self) -> None:
        """Catch from now on; nothing to do where there is no descriptor 2."""
        try:
            self._saved = os.dup(2)
        except OSError:
            return
        reading, writing = os.pipe()
        os.set_blocking(writing, False)  # a library must not wait for us: lose its words rather
        for stream in (sys.stderr, sys.__stderr__):
            if stream is not None:
                stream.flush()
        os.dup2(writing, 2)
        os.close(writing)
        self._streams = sys.stderr, sys.__stderr__
        mine = _text_stream(self._saved, sys.__stderr__)
        self._give(*(mine if _is_on(stream, 2) else stream for stream in self._streams))
        threading.Thread(target=self._drain, args=(reading,), name="hush", daemon=True).start()

    def end(self) -> None:
        """Let the descriptor and Python's streams be what they were."""
        if self._streams is None:
            return
        for stream in (sys.stderr, sys.__stderr__):
            if stream is not None:
                stream.flush()
        os.dup2(self._saved, 2)
        self._give(*self._streams)
        self._streams = None

    def _give(self, stderr: Any, original: Any) -> None:
        sys.stderr = stderr
        vars(sys)["__stderr__"] = original

    def _drain(self, reading: int) -> None:
        with open(reading, encoding="utf-8", errors="replace") as caught:
            for line in caught:
                self.lines.append(line.rstrip())


def _text_stream(descriptor: int, like: IO[str] | None) -> IO[str]:
    """A stream on a descriptor that is closed when nobody holds the stream any more."""
    encoding = getattr(like, "encoding", None) or "utf-8"
    stream = open(descriptor, "w", 1, encoding, "backslashreplace", closefd=False)  # noqa: SIM115
    weakref.finalize(stream, os.close, descriptor)
    return stream


def _is_on(stream: IO[str] | None, descriptor: int) -> bool:
    try:
        return stream is not None and stream.fileno() == descriptor
    except (OSError, ValueError):
        return False
