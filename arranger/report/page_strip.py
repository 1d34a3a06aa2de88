"""The strip of bars: how risky each is, and the way to it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from arranger.model.score import bar_name
from arranger.report.page_lists import bar_index
from arranger.report.wording import SEVERITIES, Entry, at_every_place, capital, plain

_GRADES = ("calm", "taste", "idiom", "beyond")  # heights of a stroke
_SHOWN = 5  # every fifth bar is numbered


def strip_key(altered: bool) -> str:
    """Explain the strip's strokes, and its signs where the source was ``altered``."""
    signs = ("; under it stands a ring where notes sound otherwise than in the source, a square "
             "where they are only played otherwise" if altered else "")
    return ('<p class="strip-key">In the strip of bars a stroke is tall where a bar cannot be '
            "played, middling where it is against the idiom, short for a matter of taste"
            f"{signs}.</p>")


def bar_strip(report: Mapping[str, Any], bars: Sequence[str]) -> str:
    """Set a link a bar: a stroke as tall as its gravest finding, a sign where notes are altered."""
    if not bars:
        return ""
    findings = _by_bar(at_every_place(report["findings"]), bars)
    altered = _by_bar(report.get("ledger", ()), bars)
    moves = _by_bar((report.get("pedals") or {}).get("moves", ()), bars)
    step = _SHOWN if len(bars) < 120 else 2 * _SHOWN
    cells = "".join(
        _cell(index, number, findings[index], altered[index], len(moves[index]),
              index == 1 or index % step == 0)
        for index, number in enumerate(bars, 1))
    return f'<nav class="strip" aria-label="Bars"><ol>{cells}</ol></nav>'


def _by_bar(entries: Sequence[Entry], bars: Sequence[str]) -> dict[int, list[Entry]]:
    found: dict[int, list[Entry]] = defaultdict(list)
    for entry in entries:
        found[bar_index(entry, bars)].append(entry)
    return found


def bar_words(number: str, findings: Sequence[Entry], altered: Sequence[Entry],
              moves: int) -> str:
    """Say what there is to a bar: ``Bar 12: against the idiom 1; 2 notes sound otherwise``."""
    grades = Counter(f["severity"] for f in findings)
    said = [f"{words} {grades[grade]}" for grade, words in SEVERITIES.items() if grades[grade]]
    other = sum(a["fidelity"] == "other-sound" for a in altered)
    for count, words in ((other, "otherwise sounding"), (len(altered) - other, "played otherwise"),
                         (moves, "pedal moves")):
        if count:
            said.append(f"{words} {count}")
    bar = bar_name(plain(number))
    return f"{capital(bar)}: {'; '.join(said) or 'nothing to note'}"


def _cell(index: int, number: str, findings: Sequence[Entry], altered: Sequence[Entry], moves: int,
          numbered: bool) -> str:
    order = list(SEVERITIES)
    worst = max((len(order) - order.index(f["severity"]) for f in findings), default=0)
    sound = any(a["fidelity"] == "other-sound" for a in altered)
    sign = " other" if sound else " same" if altered else ""
    label = f"<small>{escape(plain(number))}</small>" if numbered else ""
    words = escape(bar_words(number, findings, altered, moves))
    return (f'<li><a href="#bar-{index}" data-bar="{index}" class="{_GRADES[worst]}{sign}" '
            f'aria-label="{words}" title="{words}">{label}</a></li>')
