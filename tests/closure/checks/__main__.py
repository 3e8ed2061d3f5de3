"""``python -m tests.closure.checks`` writes the page of the simulator."""

from __future__ import annotations

from tests.closure.checks.page import PAGE, write_page

write_page()
print(f"wrote {PAGE.name}")
