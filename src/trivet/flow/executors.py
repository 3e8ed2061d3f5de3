"""Where the cooks of a campaign run: processes of this machine, or workers of a cluster."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from importlib import import_module
from typing import Any

from trivet.errors import InputError
from trivet.files.store import code_version

ONE_THREAD = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)
WATCH_S = 1.0  # own estimate: nobody waits for a process that ends within a second
CONNECT_S = 10.0  # own estimate: a scheduler on a local network answers sooner


@contextmanager
def local_workers(count: int) -> Iterator[Executor]:
    """Yield a pool of processes, each with one thread for linear algebra.

    Parameters
    ----------
    count : int
        Processes, 1 or more.

    Notes
    -----
    Started afresh, not forked, so that each begins from the same state.  They
    leave Ctrl-C to the parent, and end when it is gone.
    """
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    pool = ProcessPoolExecutor(
        count,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_begin,
        initargs=(os.getpid(),),
    )
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _begin(parent: int) -> None:
    import numba

    numba.set_num_threads(1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_watch, args=(parent,), daemon=True).start()


def _watch(parent: int) -> None:
    """End this process when its parent was killed."""
    while os.getppid() == parent:
        time.sleep(WATCH_S)
    os._exit(1)


@contextmanager
def cluster_workers(address: str) -> Iterator[tuple[Executor, int]]:
    """Yield the executor of a dask scheduler, and how many cooks it runs at a time.

    Parameters
    ----------
    address : str
        Of the scheduler, as its own start-up message gives it.

    Raises
    ------
    InputError
        If the extra ``cluster`` is not installed, nobody answers, or a worker has
        no Trivet or another version of it: the numbers would not be the same.
    """
    try:
        distributed: Any = import_module("distributed")
    except ImportError as error:
        raise InputError(
            "--scheduler needs the extra 'cluster': pip install 'trivet[cluster]'"
        ) from error
    try:
        client = distributed.Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(f"no scheduler answers at {address!r}: {error}") from error
    try:
        threads = sum(client.nthreads().values())
        if threads == 0:
            raise InputError(f"the scheduler at {address!r} has no workers; start some first")
        _same_code(client, address)
        yield client.get_executor(pure=False), threads
    finally:
        client.close()


def _same_code(client: Any, address: str) -> None:
    try:
        versions = set(client.run(code_version).values())
    except ImportError as error:
        raise InputError(
            f"a worker of {address!r} cannot import Trivet ({error}); install it there"
        ) from error
    if versions != {code_version()}:
        raise InputError(
            f"a worker of {address!r} has another version of Trivet; install this one there"
        )
