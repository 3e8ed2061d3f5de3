"""Progress of long commands, and the interrupt that must not get lost in them."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator

import pytest

from trivet.present.progress import progress_bars


@pytest.fixture(autouse=True)
def plain_interrupts() -> Iterator[None]:
    """Python's own handler, whatever the test runner has put in its place."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def test_an_interrupt_that_was_swallowed_is_raised_at_the_next_step() -> None:
    before = signal.getsignal(signal.SIGINT)
    with progress_bars() as tell:
        tell("cooks", 0, 2)
        with contextlib.suppress(KeyboardInterrupt):  # as a compiler's callback does
            signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            tell("cooks", 1, 2)
    assert signal.getsignal(signal.SIGINT) is before
