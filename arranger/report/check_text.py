"""What a check prints: the summary, then every finding with its source and what would work."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from arranger.report.wording import plain, settings_words

WIDTH = 80
_HEADS = {"error": "Cannot be played", "warning": "Against the idiom", "advice": "Advice"}
_STAVES = {1: ", upper staff", 2: ", lower staff"}


def check_text(report: Mapping[str, Any], advice: bool = True) -> str:
    """Return the summary and the findings, lines of at most 80 signs.

    ``advice``: tell advice too, else only count it.
    """
    lines = _wrap(f"{plain(report['source']['file'])}: {plain(report['summary']['line'])}", "")
    lines += _wrap(f"Judged for {settings_words(report['settings'])}.", "")
    for severity, head in _HEADS.items():
        some = [f for f in report["findings"] if f["severity"] == severity]
        if some and (advice or severity != "advice"):
            lines += ["", head]
            for finding in some:
                lines += _told(finding)
    return "\n".join(lines) + "\n"


def _told(finding: Mapping[str, Any]) -> Iterator[str]:
    staff = _STAVES.get(finding["staff"] or 0, "")
    beat = finding["beat"]
    if "/" in beat:
        over, under = beat.split("/")
        beat = f"{int(over) / int(under):.3g}"
    yield from _wrap(f"  bar {plain(finding['bar'])}, beat {beat}{staff}: "
                     f"{plain(finding['message'])}.", "      ")
    for remedy in finding["remedies"]:
        yield from _wrap(f"      instead: {plain(remedy['title'])}", "        ")
    yield from _wrap(f"      ({finding['code']}; {plain(finding['source'])})", "       ")


def _wrap(line: str, indent: str) -> list[str]:
    return textwrap.wrap(line, WIDTH, subsequent_indent=indent) or [""]
