"""Work that falls into pieces, done as many pieces at a time as this process may use threads."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from threadpoolctl import threadpool_info, threadpool_limits

Piece, Made = TypeVar("Piece"), TypeVar("Made")


def side_by_side(work: Callable[[Piece], Made], pieces: Sequence[Piece]) -> list[Made]:
    """What `work` makes of each piece, in their order.

    As many at a time as the libraries below would use threads: one for each core, fewer where OPENBLAS_NUM_THREADS
    says so, as it does in processes that stand side by side, and one inside of a piece. Meanwhile these libraries use
    one each: their products are small here, and several threads in each would only wait for each other.
    """
    threads = min(len(pieces), max((library["num_threads"] for library in threadpool_info()), default=1))
    with threadpool_limits(1):
        if threads < 2:
            return [work(piece) for piece in pieces]
        pool = ThreadPoolExecutor(threads)
        try:
            return list(pool.map(work, pieces))
        finally:
            pool.shutdown(cancel_futures=True)  # where one piece failed, or somebody interrupts, none is begun any more
