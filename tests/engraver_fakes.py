"""Stand-ins for verovio, to try what happens where it is missing, refuses a score or ends."""

from __future__ import annotations

from pathlib import Path

import pytest

_HEAD = "LOG_OFF = 0\ndef enableLog(level): pass\n"
MISSING = "raise ImportError"
REFUSES = f"""{_HEAD}
class toolkit:
    def setOptions(self, options): pass
    def loadData(self, xml): return False
"""
CRASHES = f"""{_HEAD}
import os, signal
class toolkit:
    def setOptions(self, options): pass
    def loadData(self, xml): os.kill(os.getpid(), signal.SIGSEGV)
"""
#: Ends on every score but a wide one.
ONLY_WIDE = f"""{_HEAD}
import os, signal
class toolkit:
    def setOptions(self, options):
        if options["pageWidth"] != 2000:
            os.kill(os.getpid(), signal.SIGSEGV)
    def loadData(self, xml): return True
    def getPageCount(self): return 1
    def renderToSVG(self, page): return '<svg xmlns="http://www.w3.org/2000/svg"/>'
"""
#: Never comes back.
HANGS = f"""{_HEAD}
class toolkit:
    def setOptions(self, options): pass
    def loadData(self, xml):
        while True: pass
"""


def fake_verovio(code: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Put a module in verovio's place for all processes begun from now on."""
    (folder / "verovio.py").write_text(code)
    monkeypatch.setenv("PYTHONPATH", str(folder))
