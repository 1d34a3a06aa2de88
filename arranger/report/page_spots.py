"""The page's section for risky spots: what is hard there, and what else would do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from arranger.model.score import bar_name
from arranger.report.page_lists import shown
from arranger.report.wording import Entry, entailed, place


def spots_section(report: Mapping[str, Any]) -> str:
    """Set the spots of a report with their options; nothing where it holds none."""
    spots = report.get("spots")
    choices = report.get("choices", {})
    if spots is None and not choices:
        return ""
    rows = "".join(_spot(s) for s in spots or ())
    none = "<p>No place stands out as hard.</p>" if spots == [] else ""
    return ('<section id="spots" aria-label="Places to look at"><h2>Places to look at</h2>'
            f'{_choices(choices)}{none}<ol class="spots">{rows}</ol></section>')


def _choices(choices: Mapping[str, Any]) -> str:
    """What became of the arranger's choices."""
    if not choices:
        return ""
    lines = [*choices["not_kept"], *choices["not_found"], *choices["moved"]]
    told = "".join(f"<li>{shown(line)}</li>" for line in lines)
    return (f"<p>Choices kept: {len(choices['kept'])} of "
            f"{len(choices['kept']) + len(choices['not_kept']) + len(choices['not_found'])}.</p>"
            + (f"<ul>{told}</ul>" if told else ""))


def _spot(spot: Entry) -> str:
    said = "; ".join(dict.fromkeys(shown(f["message"]) for f in spot["findings"][:2]))
    bars = ", ".join(dict.fromkeys(bar_name(shown(a["bar"])) for a in spot.get("again", ())))
    again = f" <small>The same in {bars}.</small>" if bars else ""
    ways = "".join(_option(o) for o in spot["options"])
    ways = f'<ul class="options">{ways}</ul>' if ways else "<p>No other way was found.</p>"
    where = place(spot)
    return (f"<li><p><b>{shown(where[:1].upper() + where[1:])}.</b> {said[:1].upper()}{said[1:]}."
            f"{again}</p>{ways}</li>")


def _option(option: Entry) -> str:
    said, listed = entailed(option.get("knock_on", ()))
    also = (f"<details><summary>{shown(said)}</summary>{listed}</details>" if listed
            else f"<br><small>{shown(said)}</small>" if said else "")
    return (f"<li>{shown(option['title'])} <small>weight {option['cost_change']:+d}</small>"
            f"{also}<code>--take {shown(option['id'])}</code></li>")
