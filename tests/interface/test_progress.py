"""Progress of long commands, and the interrupt that must not get lost in them."""

from __future__ import annotations

import contextlib
import os
import signal

import pytest

from trivet.report.progress import progress_bars


def test_an_interrupt_that_was_swallowed_is_raised_at_the_next_step() -> None:
    before = signal.getsignal(signal.SIGINT)
    with progress_bars() as tell:
        tell("cooks", 0, 2)
        with contextlib.suppress(KeyboardInterrupt):  # as a compiler's callback does
            os.kill(os.getpid(), signal.SIGINT)
            signal.pause()
        with pytest.raises(KeyboardInterrupt):
            tell("cooks", 1, 2)
    assert signal.getsignal(signal.SIGINT) is before
