"""The whole chain at once: verdict, dossier and, where it passes, the hand-off."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from trivet.flow.chain import Chain, Reader
from trivet.flow.cooks import Tell, silent
from trivet.records.verdict import Verdict


@dataclass(frozen=True)
class Proof:
    """What the whole chain gave."""

    verdict: Verdict
    page: Path
    bundle: Path | None
    """None: the hand-off was skipped, since the verdict, or that on the firmware's reading, does
    not pass."""


def prove(
    folder: Path, *, fresh: bool = False, tell: Tell = silent, reader: Reader = "host"
) -> Proof:
    """Run the whole chain, from the prediction to the dossier and the hand-off."""
    chain = Chain(folder, fresh=fresh, tell=tell, reader=reader)
    verdict = chain.verdict
    page = chain.write_dossier()
    if not (verdict.passes and chain.device_verdict.passes):
        return Proof(verdict, page, None)
    from trivet.files.bundle import write_bundle
    from trivet.files.footprint import checked_footprint

    bundle = chain.bundle(unproven=False)
    checked_footprint(bundle, firmware=chain.design.firmware)
    return Proof(verdict, page, write_bundle(folder, bundle))
