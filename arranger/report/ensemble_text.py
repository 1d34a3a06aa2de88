"""What is printed of a set of parts: who takes what, and what sounds nowhere."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from arranger.model.score import bar_name
from arranger.report.wording import beat_words, plain, wrapped

_MOST = 6  # lost notes told one by one
_KINDS = {"drop": "left out", "repitch": "on another pitch", "octave": "in another octave",
          "merge": "joined to the same pitch"}


def ensemble_text(report: Mapping[str, Any]) -> str:
    """Return a line a seat, then the notes no part has, lines of at most 80 signs."""
    every, lost_count = report["summary"]["source_notes"], report["summary"]["lost"]
    heard = (f"all {every} notes sound as written" if not lost_count else
             f"{every - lost_count} of {every} notes sound as written")
    lines = wrapped(f"{plain(report['source']['file'])}: {len(report['seats'])} parts; {heard}.",
                    "")
    for seat in report["seats"]:
        changed = ", ".join(f"{n} {_KINDS.get(kind, kind)}" for kind, n in seat["changed"].items())
        wrong = f"; {seat['errors']} places need you" if seat["errors"] else ""
        lines += wrapped(f"  {seat['seat']}  {plain(seat['harp'])}, {plain(seat['player'])}: "
                       f"{', '.join(map(plain, seat['lines']))}; {seat['notes']} notes"
                       f"{', ' + changed if changed else ', all as written'}{wrong}", "     ")
    lost = report["lost"]
    if lost:
        told = [f"{plain(n['name'])} in {bar_name(plain(n['bar']))}, beat {beat_words(n['beat'])}"
                for n in lost[:_MOST]]
        more = f"; and {len(lost) - _MOST} more" if len(lost) > _MOST else ""
        lines += wrapped(f"Nowhere as written: {'; '.join(told)}{more}.", "  ")
    return "\n".join(lines) + "\n"
