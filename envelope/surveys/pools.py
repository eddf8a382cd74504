"""Where work is done: processes of this machine, or a Dask cluster; both the same to callers.

A Dask cluster is started with two lines, one on the machine that hands out the work and one on
every machine that does it, each with this program installed:

    dask scheduler
    dask worker tcp://SCHEDULER:8786 --nworkers auto --nthreads 1
"""

import gc
import multiprocessing
import signal
import time
import warnings
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Protocol

from .errors import SurveyError

CONNECT = 10.0  # [s]: a scheduler that has not answered by then is not there
LOST = ("KilledWorker", "LostWorkerError")


class Pool(Protocol):
    """Something that does work elsewhere.

    Attributes:
        width: How many items are worked on at once.
        falls_together: Whether one lost worker ends all work that is under way.
    """

    width: int
    falls_together: bool

    def submit(self, work: Callable[[Any], Any], item: Any) -> "Future[Any]":
        """Hand in one item. Raises Lost where the pool has to be started anew."""
        ...

    def restart(self) -> None:
        """Start anew after workers were lost."""
        ...

    def is_loss(self, error: BaseException) -> bool:
        """Whether an error of an item means that its worker was lost: try it again."""
        ...

    def close(self, *, now: bool) -> None:
        """End; with now, without waiting for the work that is under way."""
        ...


class Processes:
    """Processes on this machine.

    Args:
        jobs: How many.
    """

    falls_together = True

    def __init__(self, jobs: int) -> None:
        self.width = jobs
        self._executor = self._start()

    def _start(self) -> Executor:
        self._others = set(multiprocessing.active_children())
        context = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(
            self.width, mp_context=context, initializer=_ready, initargs=gc.get_threshold()
        )

    def submit(self, work: Callable[[Any], Any], item: Any) -> "Future[Any]":
        """Hand in one item. Raises BrokenProcessPool, see `is_loss`."""
        return self._executor.submit(work, item)

    def restart(self) -> None:
        """Start anew after workers were lost."""
        self.close(now=True)
        self._executor = self._start()

    def is_loss(self, error: BaseException) -> bool:
        """Whether a worker died."""
        return isinstance(error, BrokenProcessPool)

    def close(self, *, now: bool) -> None:
        """End; with now, without waiting for the work that is under way."""
        self._executor.shutdown(wait=not now, cancel_futures=True)
        if now:
            for process in set(multiprocessing.active_children()) - self._others:
                process.terminate()


class Cluster:
    """A Dask cluster.

    Args:
        address: Of its scheduler ("tcp://host:8786").

    Raises:
        SurveyError: If it cannot be reached, or Dask is not installed.
    """

    falls_together = False

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client  # pyright: ignore
        except ImportError:
            right = 'install it with: python -m pip install "envelope-planner[cluster]"'
            raise SurveyError(f"--cluster needs Dask, which is not installed; {right}") from None
        self._address = address
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # versions that differ are looked at below
                self._client: Any = Client(address, timeout=CONNECT, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            reason = " ".join(str(error).split())[:120]
            right = "start one with `dask scheduler`, and name it as in tcp://host:8786"
            raise SurveyError(f"no Dask scheduler at {address} ({reason}); {right}") from None
        self._futures: Any = self._client.get_executor(pure=False)
        self.width = max(1, self._threads())

    def _threads(self) -> int:
        """How many items can be worked on at once; workers may still be on their way."""
        until = time.monotonic() + CONNECT
        while not (threads := sum(self._client.nthreads().values())):
            if time.monotonic() > until:
                self._client.close()
                right = "start some with `dask worker ADDRESS --nthreads 1`"
                raise SurveyError(f"the scheduler at {self._address} has no workers; {right}")
            time.sleep(0.2)
        return threads

    def submit(self, work: Callable[[Any], Any], item: Any) -> "Future[Any]":
        """Hand in one item."""
        if self._client.status != "running":
            raise SurveyError(f"the connection to the scheduler at {self._address} is lost")
        return self._futures.submit(work, item)

    def restart(self) -> None:
        """Nothing to do: the scheduler gives lost work to other workers by itself."""

    def is_loss(self, error: BaseException) -> bool:
        """Whether workers died with this item more often than the scheduler tries."""
        return type(error).__name__ in LOST

    def close(self, *, now: bool) -> None:
        """End, and take back what was handed in."""
        if self._client.status == "running":
            self._futures.shutdown(wait=not now)
        self._client.close()


def _ready(*collecting: int) -> None:
    """A process that leaves Ctrl-C to its parent, which alone decides what it means.

    Args:
        collecting: How often it looks for garbage, as `gc.set_threshold` takes it.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.set_threshold(*collecting)
