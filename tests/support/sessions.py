"""Plans of blind sessions and listeners who answer them."""

import hashlib
from collections.abc import Callable
from pathlib import Path

from hypothesis import HealthCheck, settings

from auralize.trials.plan import Compared, Plan
from auralize.trials.seeds import share_apart, share_beside
from auralize.trials.session import Practice, Session
from auralize.trials.statistics import Protocol

PROTOCOLS: list[Protocol] = ["matched-to-sample", "triangle"]
untimed = settings(
    deadline=None,
    max_examples=40,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def plan(protocol: Protocol = "triangle", trials: int = 12, listener: str = "listener 1") -> Plan:
    return Plan(
        protocol=protocol,
        trials=trials,
        choices=(
            Compared("reel", 0.0, "62 m twin", "0" * 64),
            Compared("pair", -0.42, "62 m twisted", "0" * 64),
        ),
        match="programme loudness",
        programme="tide-mill.wav",
        programme_sha256=hashlib.sha256(b"tide mill").hexdigest(),
        listener=listener,
    )


def hear(session: Session | Practice, presentation: int) -> int:
    """What somebody hears who can tell the two apart for certain."""
    heard: list[int] = []
    session.present(presentation, heard.append)
    return heard[0]


def sure_answer(session: Session | Practice) -> int:
    sounds = [hear(session, presentation) for presentation in range(3)]
    if isinstance(session, Session) and session.plan.protocol == "matched-to-sample":
        return sounds[2]
    return next(i for i, sound in enumerate(sounds) if sounds.count(sound) == 1)


def shares(session: Session) -> list[Path]:
    """Where the two shares of its seed are kept while it runs."""
    return [share_beside(session.log_path), share_apart(session.commitment)]


def joined(one: Path, other: Path) -> str:
    """The seed in hexadecimal, from both its shares."""
    both = zip(*(bytes.fromhex(share.read_text()) for share in (one, other)), strict=True)
    return bytes(a ^ b for a, b in both).hex()


def run(path: Path, what: Plan, answer: Callable[[Session], int]) -> Session:
    session = Session.start(what, path)
    while not session.finished:
        session.answer(answer(session))
    return session
