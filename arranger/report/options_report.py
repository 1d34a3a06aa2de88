"""Risky spots with their options, as they stand in report.json and on the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from arranger.model.score import bar_name
from arranger.report.wording import WIDTH, Entry, capital, place
from arranger.rulebook.prices import load_prices

#: Consequences of an option that are told one by one.
_TOLD = 3
#: What the prices are counted in.
_UNIT = (f" (prices in points over the whole piece, {load_prices()['notch']} for a notch of one "
         f"pedal; less is better).")


def options_text(report: Mapping[str, Any], take: str) -> str:
    """Return the spots of a report as printed; ``take`` is the command that takes an option."""
    lines = _wrap(_head(report["spots"]), "")
    for rank, spot in enumerate(report["spots"], 1):
        lines += ["", *_spot(rank, spot)]
    lines += _drafts(report.get("drafts", ()))
    if any(s["options"] for s in report["spots"]):
        lines += ["", f"Take one:  {take} --take ID"]
    return "\n".join(lines) + "\n"


def _head(spots: Sequence[Entry]) -> str:
    if not spots:
        return "No place of this draft stands out as hard."
    if [f["code"] for f in spots[0]["findings"]] == ["what-if"]:
        return f"What one change costs{_UNIT}"
    ways = sum(len(s["options"]) > 1 for s in spots)
    places = "1 place" if len(spots) == 1 else f"{len(spots)} places"
    more = "none" if not ways else "all" if ways == len(spots) else str(ways)
    where = f"at {more} of them there is more than one way out"
    if len(spots) == 1:
        count = len(spots[0]["options"])
        where = f"there {'is' if count == 1 else 'are'} {count or 'no'} way{'s' * (count != 1)} out"
    return f"{places} to look at; {where}{_UNIT}"


def _spot(rank: int, spot: Entry) -> Iterator[str]:
    said = "; ".join(dict.fromkeys(f["message"] for f in spot["findings"][:2]))
    where = place(spot)
    yield from _wrap(f"{rank}. {capital(where)}: {said}.", "   ")
    if spot["again"]:
        bars = ", ".join(dict.fromkeys(bar_name(a["bar"]) for a in spot["again"]))
        yield from _wrap(f"   The same in {bars}.", "   ")
    if not spot["options"]:
        yield "   No other way was found."
    for option in spot["options"]:
        yield from _wrap(f"   {_price(option['cost_change']):>6}  {option['title']}", " " * 11)
        told = option["knock_on"]
        if told:
            more = f"; and {len(told) - _TOLD} more" if len(told) > _TOLD else ""
            yield from _wrap(f"{' ' * 11}then {'; '.join(told[:_TOLD])}{more}", " " * 11)
        yield f"{' ' * 11}{option['id']}"


def _price(change: int) -> str:
    """A change of the total, at most five signs wide; a part that did not go at all now goes."""
    return "plays" if change < -100_000 else f"{change:+d}" if change else "0"


def _drafts(drafts: Sequence[Entry]) -> Iterator[str]:
    if not drafts:
        return
    yield from ("", "Whole drafts")
    for draft in drafts:
        yield f"  {draft['title']}"
        figures = ", ".join(f"{name.replace('_', ' ')} {value}"
                            for name, value in draft["summary"].items())
        yield from _wrap(f"      {figures}", "      ")


def _wrap(line: str, indent: str) -> list[str]:
    return textwrap.wrap(line, WIDTH, subsequent_indent=indent, drop_whitespace=True,
                         break_on_hyphens=False) or [""]
