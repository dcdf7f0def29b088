"""What may take long, told to whoever asked: coils of thousands of turns take seconds to work out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

Listener = Callable[[str], None]
"""Is told in words what is being worked out; by an empty text that the last of it is done."""

_listener: Final[ContextVar[Listener]] = ContextVar("listener", default=lambda words: None)


@contextmanager
def told_to(listener: Listener) -> Iterator[None]:
    """Tell this listener of what is worked out in here (in this thread), and no other."""
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)


@contextmanager
def working_out(words: str) -> Iterator[None]:
    """While in here, this is what takes its time."""
    listener = _listener.get()
    listener(words)
    try:
        yield
    finally:
        listener("")
