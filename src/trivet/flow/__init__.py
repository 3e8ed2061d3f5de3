"""The spine: one chain of stages over a project folder, and what runs it.

It alone joins stages, files and report.
"""

from trivet.flow.chain import Chain
from trivet.flow.cooks import CookEntry, Tell, silent
from trivet.flow.proof import Proof, prove
from trivet.flow.versions import code_version

__all__ = ["Chain", "CookEntry", "Proof", "Tell", "code_version", "prove", "silent"]
