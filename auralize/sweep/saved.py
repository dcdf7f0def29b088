"""A sweep on the disk: a table of all cases, and the facts beside it."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from auralize.circuit.solution import Across
from auralize.files import StagedText, commit_set, encoded
from auralize.outputs import among, facts_beside, file_name, fingerprint, sha256_of, sidecar
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.data import as_csv


def sweep_call(choices: Sequence[Choice], cases: Cases, across: Across, *asked: Any) -> str:
    """A hash of all that makes a difference to the result: what is ``asked`` of the cases, too."""
    identities = [choice.identity for choice in choices]
    return fingerprint("sweep", identities, repr(cases), across, *asked)


def sweep_name(
    rig: Rig,
    choices: Sequence[Choice],
    cases: Cases,
    across: Across,
    suffix: str,
    asked: Sequence[str] = (),
) -> str:
    """What a result is called: after its rig, choices, what varies, and what is asked of that."""
    stem = "rig" if rig.path is None else rig.path.stem
    moved = [choice.place_tag for choice in choices if choice.place_tag]
    varied = [place[-1] for place in cases.places]
    return file_name(
        [
            stem,
            among(list(dict.fromkeys(choice.name for choice in choices)), list(rig)),
            "".join(moved[:1]),
            "" if across == "both" else f"drop-{across}",
            "sweep",
            among(list(dict.fromkeys(varied)), ()),
            f"{len(cases)}-cases",
            f"seed-{cases.seed}" if cases.tolerances else "",
            *asked,
        ],
        suffix,
    )


def save_sweep(
    cases: Cases,
    found: Sequence[CaseFigures],
    told: dict[str, Any],
    path: Path,
    call: str,
    pictures: Sequence[tuple[Path, bytes]] = (),
) -> None:
    """Write the table of a ``call``, what is told of it, and ``pictures``; all or none. Raises FileError."""
    with ExitStack() as stack:
        paths = [path, sidecar(path), *(picture for picture, _ in pictures)]
        table, beside, *drawn = (stack.enter_context(StagedText(one)) for one in paths)
        table.stage(encoded(as_csv(cases, found)))
        beside.stage(facts_beside(sha256_of(table.staged.temporary), told, call, "table"))
        for one, (_, image) in zip(drawn, pictures, strict=True):
            one.stage(image)
        # The facts first: a table without them, should we be killed between, would not be known as ours.
        commit_set([one.staged for one in (beside, table, *drawn)])
