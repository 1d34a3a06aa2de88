"""Whole drafts side by side: a table and a plot, where a report holds several."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from arranger.report.page_lists import shown
from arranger.report.page_marks import letters
from arranger.report.wording import Entry

_MEASURES = {"notes_kept": "source notes that sound", "tune": "tune", "bass": "bass",
             "harmony": "harmony", "alterations": "alterations", "pedal_moves": "pedal moves",
             "two_notch": "of two notches", "collisions": "hands on one string",
             "widest": "widest grip, strings", "hardest_bar": "hardest bar",
             "tempo_ceiling": "fastest crotchet", "errors": "places beyond the harp"}
_SHARES = frozenset({"notes_kept", "tune", "bass", "harmony"})
_WIDE, _HIGH, _EDGE = 320, 180, 34


def whole_drafts(report: Mapping[str, Any]) -> str:
    """Set the drafts of the report in a table beside a plot of pedal moves and alterations."""
    drafts = report.get("drafts") or ()
    if not drafts:
        return ""
    names = [letters(at).upper() for at in range(len(drafts))]
    known = [k for k in _MEASURES if any(k in d.get("summary", {}) for d in drafts)]
    head = "".join(f'<th scope="col">{_MEASURES[k]}</th>' for k in known)
    rows = "".join(
        f'<tr><th scope="row"><b>{name}</b> {shown(draft["title"])}</th>'
        + "".join(f"<td>{_number(draft, key)}</td>" for key in known)
        + f'<td>{shown(draft.get("cost", {}).get("total", "-"))}</td></tr>'
        for name, draft in zip(names, drafts, strict=True))
    head = f'<tr><th scope="col">Draft</th>{head}<th scope="col">weight of all changes</th></tr>'
    return ('<section id="drafts" aria-label="Whole drafts"><h2>Whole drafts</h2>'
            f'<div class="tables"><table class="numbers"><thead>{head}</thead>'
            f"<tbody>{rows}</tbody></table>"
            f"{_plot(names, drafts)}</div></section>")


def _number(draft: Entry, key: str) -> str:
    value = draft.get("summary", {}).get(key)
    if value is None:
        return "-"
    return f"{100 * value:.0f}\u00a0%" if key in _SHARES else shown(value)


def _plot(names: Sequence[str], drafts: Sequence[Entry]) -> str:
    points = [(float(d.get("summary", {}).get("pedal_moves", 0)),
               float(d.get("summary", {}).get("alterations", 0))) for d in drafts]
    most = [max(1.0, *(p[axis] for p in points)) for axis in (0, 1)]
    dots = []
    for name, (moves, altered) in zip(names, points, strict=True):
        x = _EDGE + (_WIDE - 2 * _EDGE) * moves / most[0]
        y = _HIGH - _EDGE - (_HIGH - 2 * _EDGE) * altered / most[1]
        dots.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3"/>'
                    f'<text x="{x + 6:.1f}" y="{y - 5:.1f}">{name}</text>')
    low = _HIGH - _EDGE
    return (f'<svg class="plot" viewBox="0 0 {_WIDE} {_HIGH}" role="img" aria-label="The drafts by '
            'pedal moves, to the right, and alterations, upwards; the figures are in the table">'
            f'<path d="M{_EDGE} {_EDGE / 2:g}V{low}H{_WIDE - 8}"/>{"".join(dots)}'
            f'<text x="{_WIDE - 8}" y="{_HIGH - 12}" text-anchor="end">pedal moves, most '
            f'{most[0]:g}</text><text x="4" y="12">alterations, most {most[1]:g}</text></svg>')
