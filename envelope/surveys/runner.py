"""One executor for all surveys: answers in order, whoever worked, whatever was lost."""

from collections import Counter, deque
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from types import TracebackType
from typing import Any, Generic, TypeVar

from .errors import SurveyError
from .pools import Cluster, Pool, Processes
from .store import Store

I = TypeVar("I")  # noqa: E741
A = TypeVar("A")
Progress = Callable[[int, int], None]
MOST_LOSSES = 5  # workers an item may lose before it is taken to be the cause
AHEAD = 2  # items handed in for each that can be worked on
PATIENCE = 1.0  # [s]: an interrupt is noticed within this time on every system


def run(
    work: Callable[[I], A],
    items: Sequence[I],
    *,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress | None = None,
    store: Store[A] | None = None,
    names: Sequence[str] | None = None,
) -> list[A]:
    """Answers to all items, in their order; see `Runner`."""
    with Runner[A](jobs=jobs, cluster=cluster, store=store) as runner:
        return runner.run(work, items, progress=progress, names=names)


class Runner(Generic[A]):
    """Does work here, in processes, or on a Dask cluster; use as a context.

    Args:
        jobs: Processes; with 1 the work is done in this one.
        cluster: Address of a Dask scheduler, used instead of processes.
        store: Where answers are kept; what it has is not worked on again.

    Raises:
        SurveyError: If the cluster cannot be reached.
    """

    def __init__(
        self, *, jobs: int = 1, cluster: str | None = None, store: Store[A] | None = None
    ) -> None:
        self._pool: Pool | None = None
        self._store = store
        if cluster is not None:
            self._pool = Cluster(cluster)
        elif jobs > 1:
            self._pool = Processes(jobs)

    def __enter__(self) -> "Runner[A]":
        """Nothing to do: workers start when there is work."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the workers; after an error or an interrupt, at once."""
        if self._pool is not None:
            self._pool.close(now=kind is not None)

    @property
    def width(self) -> int:
        """How many items are worked on at once."""
        return 1 if self._pool is None else self._pool.width

    def run(
        self,
        work: Callable[[I], A],
        items: Sequence[I],
        *,
        progress: Progress | None = None,
        names: Sequence[str] | None = None,
    ) -> list[A]:
        """Answers to all items, in their order; they must not depend on one another.

        Args:
            work: Of one item; can be pickled, as can items and answers.
            items: What to work on.
            progress: Called with (answers there, answers in all).
            names: Name of each item in the store; by default its number.

        Raises:
            SurveyError: If an item loses worker after worker, or the store cannot be written.
        """
        store = self._store
        named = [str(number) for number in range(len(items))] if names is None else list(names)
        found: dict[int, A] = {}
        if store is not None:
            found = {k: store[name] for k, name in enumerate(named) if name in store}

        def keep(number: int, answer: A) -> None:
            found[number] = answer if store is None else store.keep(named[number], answer)
            if progress is not None:
                progress(len(found), len(items))

        if progress is not None:
            progress(len(found), len(items))
        waiting = [number for number in range(len(items)) if number not in found]
        if self._pool is None:
            for number in waiting:
                keep(number, work(items[number]))
        elif waiting:
            _Round(self._pool, work, items, keep).finish(waiting)
        return [found[number] for number in range(len(items))]


class _Round:
    """Items on their way through a pool."""

    def __init__(
        self,
        pool: Pool,
        work: Callable[[Any], Any],
        items: Sequence[Any],
        keep: Callable[[int, Any], None],
    ) -> None:
        self._pool, self._work, self._items, self._keep = pool, work, items, keep
        self._under_way: dict[Future[Any], int] = {}
        self._losses: Counter[int] = Counter()

    def finish(self, numbers: Sequence[int]) -> None:
        """Work until every one has its answer."""
        waiting = deque(numbers)
        while waiting or self._under_way:
            lost = self._hand_in(waiting)
            done, _ = wait(self._under_way, timeout=PATIENCE, return_when=FIRST_COMPLETED)
            for future in done:
                lost += self._take(future)
            if lost:
                waiting.extendleft(sorted(self._recovered(lost), reverse=True))

    def _hand_in(self, waiting: deque[int]) -> list[int]:
        """Hand in what the pool has room for; returns what was lost over it."""
        while waiting and len(self._under_way) < AHEAD * self._pool.width:
            number = waiting.popleft()
            try:
                self._under_way[self._pool.submit(self._work, self._items[number])] = number
            except Exception as error:
                if not self._pool.is_loss(error):
                    raise
                return [number]
        return []

    def _take(self, future: "Future[Any]") -> list[int]:
        """Keep the answer of a future that is done; returns the item if its worker was lost."""
        number = self._under_way.pop(future)
        try:
            answer = future.result()
        except CancelledError:
            raise SurveyError("the workers have gone; the work was taken back") from None
        except Exception as error:
            if not self._pool.is_loss(error):
                raise
            return [number]
        self._keep(number, answer)
        return []

    def _recovered(self, lost: list[int]) -> list[int]:
        """What has to be handed in again after a loss; the pool is ready for it."""
        if self._pool.falls_together:
            for future in wait(self._under_way).done:
                lost += self._take(future)
        for number in lost:
            self._losses[number] += 1
            if self._losses[number] >= MOST_LOSSES:
                raise SurveyError(
                    f"{MOST_LOSSES} workers ended while they worked on the same variant; "
                    "is there too little memory? Try fewer --jobs"
                )
        self._pool.restart()
        return lost
