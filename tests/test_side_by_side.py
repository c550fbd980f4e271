"""Pieces of work side by side: the same answers in the same order, and no more threads than a process may use."""

import threading
import time

import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from kit.side_by_side import side_by_side


def by_libraries() -> int:
    return max(library["num_threads"] for library in threadpool_info())


def test_answers_stand_in_the_order_of_their_pieces_whatever_takes_longest():
    def slow_at_first(piece: int) -> int:
        time.sleep(0.02 * (4 - piece))
        return piece * 10

    with threadpool_limits(2):
        assert side_by_side(slow_at_first, [1, 2, 3]) == [10, 20, 30]


def test_two_pieces_are_done_at_a_time_where_two_threads_may_be_used():
    both = threading.Barrier(2, timeout=20)
    with threadpool_limits(2):
        assert side_by_side(lambda piece: both.wait() in (0, 1), [1, 2]) == [True, True]


def test_where_one_thread_may_be_used_everything_is_done_by_the_caller():
    with threadpool_limits(1):
        assert set(side_by_side(lambda piece: threading.get_ident(), range(5))) == {threading.get_ident()}


def test_within_a_piece_the_libraries_use_one_thread_and_so_do_pieces_of_pieces():
    def inner(piece: int) -> tuple[int, bool]:
        outer = threading.get_ident()
        return by_libraries(), set(side_by_side(lambda part: threading.get_ident(), [1, 2])) == {outer}

    with threadpool_limits(2):
        assert side_by_side(inner, [1, 2, 3]) == [(1, True)] * 3
        assert by_libraries() == 2


def test_no_piece_is_begun_after_one_has_failed():
    begun = []

    def fails(piece: int) -> None:
        begun.append(piece)
        time.sleep(0.01)
        raise ValueError(f"piece {piece}")

    with threadpool_limits(2), pytest.raises(ValueError, match="piece 0"):
        side_by_side(fails, range(200))
    assert len(begun) < 200


def test_no_pieces_make_nothing():
    assert side_by_side(lambda piece: piece, []) == []
