"""Chunks that are kept until the result is whole."""

import numpy as np

from auralize.sweep.kept import KeptChunks

ARRAYS = {"loss_db": np.array([[-1.5, -np.inf]]), "case": np.arange(3)}


def test_a_chunk_comes_back_to_the_bit(tmp_path):
    kept = KeptChunks(tmp_path / "pond.csv", "call")
    assert kept.taken(3) is None
    kept.keep(3, ARRAYS)
    found = KeptChunks(tmp_path / "pond.csv", "call").taken(3)
    assert {n: a.tobytes() for n, a in found.items()} == {n: a.tobytes() for n, a in ARRAYS.items()}
    assert kept.taken(2) is None


def test_another_call_takes_nothing_up(tmp_path):
    KeptChunks(tmp_path / "pond.csv", "one").keep(0, ARRAYS)
    other = KeptChunks(tmp_path / "pond.csv", "other")
    assert other.taken(0) is None
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
        assert kept.taken(0) is None


def test_all_goes_when_the_result_is_whole_and_nothing_else(tmp_path):
    (tmp_path / "mine").write_text("mine")
    lawn = KeptChunks(tmp_path / "lawn.csv", "call")
    for chunks in (
        KeptChunks(tmp_path / "pond.csv", "old"),
        KeptChunks(tmp_path / "pond.csv", "new"),
        lawn,
    ):
        chunks.keep(0, ARRAYS)
    KeptChunks(tmp_path / "pond.csv", "new").remove()
    assert lawn.taken(0) is not None
    lawn.remove()
    assert [path.name for path in tmp_path.iterdir()] == ["mine"]
