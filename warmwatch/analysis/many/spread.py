"""Spreads work over this machine's processors, or over the workers of a Dask cluster.

Both give the results in the order of the tasks, from the same functions, so the figures are the
same to the last digit.
"""

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context, parent_process
from typing import Any, Protocol, TypeVar

from warmwatch._version import __version__
from warmwatch.errors import UsageError, WarmwatchError

T = TypeVar("T")
R = TypeVar("R")

WORTH_PROCESSES = 24
"""Starting processes takes as long as about so many recordings."""
CHUNK = 8
CONNECT_S = 10.0


class Spread(Protocol):
    """A place where tasks are done."""

    def hashed(self, function: Callable[[T], R], tasks: Sequence[T]) -> Iterator[R]:
        """Do short tasks that mostly read and hash."""

    def worked(self, function: Callable[[T], R], tasks: Sequence[T]) -> Iterator[R]:
        """Do long tasks."""


class Here:
    """This machine: threads for hashing, processes for the rest where there are enough tasks."""

    def __init__(self, processes: int | None = None) -> None:
        self._processes = processes or os.cpu_count() or 1

    def hashed(self, function: Callable[[T], R], tasks: Sequence[T]) -> Iterator[R]:
        """Hash in threads: hashing leaves the interpreter free."""
        with ThreadPoolExecutor(self._processes) as pool:
            yield from pool.map(function, tasks)

    def worked(self, function: Callable[[T], R], tasks: Sequence[T]) -> Iterator[R]:
        """Work in processes of their own, begun afresh, which every platform can."""
        if len(tasks) < WORTH_PROCESSES or self._processes < 2:
            yield from map(function, tasks)
            return
        with ProcessPoolExecutor(
            self._processes, mp_context=get_context("spawn"), initializer=_begin_worker
        ) as pool:
            try:
                yield from pool.map(function, tasks, chunksize=CHUNK)
            finally:  # Ctrl-C must not wait for what nobody will read
                pool.shutdown(wait=False, cancel_futures=True)


class OnDask:
    """The workers of a Dask cluster; they must see the recordings under the same paths.

    Raises UsageError when Dask is not installed or the address does not answer, WarmwatchError when
    a worker has another version of this program: the figures might differ.
    """

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise UsageError(
                "Dask is not installed: install it with pip install 'warmwatch[fleet]'."
            ) from None
        try:
            connect: Any = Client
            self._client = connect(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            raise UsageError(
                f"No Dask scheduler answers at {address} ({error}): start one with dask scheduler, "
                "or leave out --dask."
            ) from None
        self._check_versions()

    def _check_versions(self) -> None:
        try:
            versions = self._client.run(worker_version)
        except Exception as error:  # what a worker without the program raises is not ours to list
            self.close()
            raise WarmwatchError(
                f"The Dask workers cannot run warmwatch ({error}): install it on every worker."
            ) from None
        if not versions:
            self.close()
            raise WarmwatchError("The Dask cluster has no workers: start some with dask worker.")
        other = sorted({version for version in versions.values() if version != __version__})
        if other:
            self.close()
            raise WarmwatchError(
                f"Dask workers run warmwatch {', '.join(other)} and this is {__version__}: "
                "install the same version everywhere."
            )

    def hashed(self, function: Callable[[T], R], tasks: Sequence[T]) -> Iterator[R]:
        """Do short tasks on the workers."""
        return self.worked(function, tasks)

    def worked(self, function: Callable[[T], R], tasks: Sequence[T]) -> Iterator[R]:
        """Do tasks on the workers, in chunks, the results in order."""
        chunks = [tasks[start : start + CHUNK] for start in range(0, len(tasks), CHUNK)]
        futures = [self._client.submit(_do, function, chunk, pure=False) for chunk in chunks]
        for future in futures:
            yield from future.result()
            future.release()

    def worker_pids(self) -> set[int]:
        """Return the process ids of the workers."""
        return set(self._client.run(os.getpid).values())

    def close(self) -> None:
        """Leave the cluster; it goes on running."""
        self._client.close()


def _begin_worker() -> None:
    """Ctrl-C is for the main process; a worker that took it would print a traceback.

    But a worker ends with the main process, also when that is killed.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def worker_version() -> str:
    """Return the version of this program where it runs."""
    return __version__


def _do(function: Callable[[T], R], tasks: Sequence[T]) -> list[R]:
    return [function(task) for task in tasks]
