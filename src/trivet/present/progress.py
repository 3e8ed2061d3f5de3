"""A progress bar on standard error for anything that takes over a second."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

SHOW_AFTER_S = 1.0  # common practice, no source: a shorter wait needs no bar


@contextmanager
def progress_bars() -> Iterator[Callable[[str, int, int], None]]:
    """Yield a function that shows how many of a task's steps are done."""
    bars = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    known: dict[str, int] = {}
    begun = time.monotonic()
    shown = False

    def tell(task: str, done: int, total: int) -> None:
        nonlocal shown
        if asked:
            raise KeyboardInterrupt
        if task not in known:
            # what was done before does not count towards the speed, and so the time left
            known[task] = int(bars.add_task(task, total=total, completed=done))
        bars.update(bars.tasks[known[task]].id, completed=done, total=total)
        if not shown and time.monotonic() - begun > SHOW_AFTER_S:
            shown = True
            bars.start()

    def remember(*_: object) -> None:
        asked.append(True)
        raise KeyboardInterrupt

    # Compilers and callbacks may swallow the interrupt: it is raised again at the next step.
    asked: list[bool] = []
    ours = (
        threading.current_thread() is threading.main_thread()
        and signal.getsignal(signal.SIGINT) is signal.default_int_handler
    )
    if ours:
        signal.signal(signal.SIGINT, remember)
    try:
        yield tell
    finally:
        if ours:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        if shown:
            bars.stop()
