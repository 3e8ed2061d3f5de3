"""Past output of the program, frozen: a guard while the code is rebuilt, never validation.

That a number is in the net says that the program gave it once, not that it is right. Where
behaviour changes on purpose, ``python -m tests.frozen.net renew --part PART --why "REASON"``
freezes the part anew and adds the reason to the list in ``net.json``; names that changed stand in
``renamed.toml``. Last bits depend on the processor and on the libraries: elsewhere it is skipped.
"""

from __future__ import annotations

import json

import pytest
from tests.frozen import net
from tests.frozen.captured import PARTS


@pytest.mark.slow
@pytest.mark.parametrize("part", PARTS)
def test_what_the_program_gave_it_still_gives(part: str) -> None:
    frozen = json.loads(net.NET.read_text("utf-8"))
    assert all(one["why"] for one in frozen["renewed"])
    if frozen["made_on"] != net.made_on():
        pytest.skip(f"frozen on another machine: {frozen['made_on']}, here {net.made_on()}")
    wrong, _ = net.differences(part, net.part_digests(part))
    assert not wrong, "\n".join(wrong)
