"""Write a firmware bundle as a folder of text files."""

from __future__ import annotations

from pathlib import Path

from trivet.files.atomic import new_folder
from trivet.records.bundle import FirmwareBundle
from trivet.records.provenance import fingerprint


def write_bundle(project: Path, bundle: FirmwareBundle) -> Path:
    """Write the files and return their folder, named by the bundle's hash; never overwritten."""
    folder = project / "results" / "bundle" / fingerprint(bundle)[:32]
    if folder.exists():
        return folder
    with new_folder(folder) as part:
        for file in bundle.files:
            (part / file.name).write_text(file.text, encoding="utf-8", newline="\n")
    return folder
