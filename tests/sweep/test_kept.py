"""Chunks that are kept until the result is whole."""

import numpy as np
import pytest

from auralize.errors import FileError, RigError
from auralize.executors import WorkerError
from auralize.sweep.kept import KeptChunks

ARRAYS = {"loss_db": np.array([[-1.5, -np.inf]]), "case": np.arange(3)}


def test_a_chunk_comes_back_to_the_bit(tmp_path):
    kept = KeptChunks(tmp_path / "pond.csv", "call")
    assert kept.taken(3, ARRAYS) is None
    assert not kept.has(3)
    kept.keep(3, ARRAYS)
    found = KeptChunks(tmp_path / "pond.csv", "call").taken(3, ARRAYS)
    assert {n: a.tobytes() for n, a in found.items()} == {n: a.tobytes() for n, a in ARRAYS.items()}
    assert kept.has(3)
    assert kept.taken(2, ARRAYS) is None
    assert kept.taken(3, ["another"]) is None


def test_another_call_takes_nothing_up(tmp_path):
    KeptChunks(tmp_path / "pond.csv", "one").keep(0, ARRAYS)
    other = KeptChunks(tmp_path / "pond.csv", "other")
    assert other.taken(0, ARRAYS) is None
    assert other.of_others
    assert not KeptChunks(tmp_path / "pond.csv", "one").of_others
    assert not KeptChunks(tmp_path / "lawn.csv", "one").of_others


def test_a_chunk_that_is_not_whole_is_not_taken_up(tmp_path):
    kept = KeptChunks(tmp_path / "pond.csv", "call")
    kept.keep(0, ARRAYS)
    (file,) = tmp_path.rglob("*.npz")
    whole = file.read_bytes()
    for spoilt in (b"", whole[:-40], whole[: len(whole) // 2], whole[:200] + b"!" + whole[201:]):
        file.write_bytes(spoilt)
        assert kept.taken(0, ARRAYS) is None


def test_all_goes_when_the_result_is_whole_and_nothing_else(tmp_path):
    (tmp_path / "mine").write_text("mine")
    lawn = KeptChunks(tmp_path / "lawn.csv", "call")
    KeptChunks(tmp_path / "pond.csv", "old").keep(0, ARRAYS)
    with KeptChunks(tmp_path / "pond.csv", "new") as new:
        for kept in (lawn, new):
            kept.keep(0, ARRAYS)
    assert not new.of_others
    assert not new.has(0)
    assert lawn.has(0)
    with lawn:
        pass
    assert [path.name for path in tmp_path.iterdir()] == ["mine"]


def interrupted(kept, end):
    with kept:
        kept.keep(0, ARRAYS)
        raise end


@pytest.mark.parametrize(
    ("end", "said"),
    [
        (KeyboardInterrupt(), "what is done is kept in "),
        (FileError("disk full"), "disk full; what is done is kept in "),
        (WorkerError("workers lost"), "workers lost; what is done is kept in "),
    ],
)
def test_it_stays_where_the_program_is_stopped_or_the_machine_fails(tmp_path, end, said):
    kept = KeptChunks(tmp_path / "pond.csv", "call")
    KeptChunks(tmp_path / "pond.csv", "old").keep(0, ARRAYS)
    with pytest.raises(type(end)) as raised:
        interrupted(kept, end)
    assert str(raised.value).startswith(f"{said}{tmp_path}")
    assert kept.has(0)
    assert kept.of_others


def test_after_an_error_in_what_was_asked_it_goes(tmp_path):
    """As the same call would end so again."""
    kept = KeptChunks(tmp_path / "pond.csv", "call")
    with pytest.raises(RigError, match=r"^no such cable$"):
        interrupted(kept, RigError("no such cable"))
    assert not list(tmp_path.iterdir())


def test_where_nothing_was_kept_nothing_is_said_of_it(tmp_path):
    kept = KeptChunks(tmp_path / "pond.csv", "call")
    with pytest.raises(FileError, match=r"^disk full$"), kept:
        raise FileError("disk full")


def test_what_need_not_last_is_kept_in_memory(tmp_path):
    kept = KeptChunks(tmp_path / "pond.csv", "call", lasting=False)
    kept.keep(0, ARRAYS)
    assert kept.taken(0, ["loss_db"])["loss_db"] is ARRAYS["loss_db"]
    assert not list(tmp_path.iterdir())
