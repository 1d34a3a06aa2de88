"""What the page of a check says that the page of a draft does not: how fast, and what conflicts."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

from arranger.model.score import bar_name
from arranger.report.wording import plain, settings_words

#: What stands at the foot of the page of a check.
MEANT = ("A finding is a reason with its source, not a verdict; the last word has the harpist who "
         "plays the part.")
_MOST_TEMPI = 3


def judged(report: Mapping[str, Any]) -> str:
    """Say below the verdict what was counted, how fast it goes, and for whom it was judged."""
    source = report["source"]
    tempi = [f"{plain(t[:1].upper() + t[1:])}." for t in
             report.get("tempo_limits", {}).get("told", ())[:_MOST_TEMPI]]
    line = plain(str(report["summary"]["line"]))
    name = ", ".join(map(plain, source["parts"])) or "The part"
    said = [f"{line[:1].upper() + line[1:]}.", *tempi]
    return (f"<p>{escape(' '.join(said))}</p>"
            f'<p class="made">{escape(name)} as written ({escape(plain(source["file"]))}), judged '
            f'for {escape(settings_words(report["settings"]))}.</p>')


def exclusions(report: Mapping[str, Any]) -> str:
    """List for every bar that cannot be played the notes that exclude one another, or nothing."""
    rows = []
    for bar in report.get("conflicts", ()):
        sets = [" + ".join(map(plain, one["named"])) for one in bar["sets"]
                if len(one["notes"]) > 1]
        if sets:
            groups = "".join(f"<li>{escape(one)}</li>" for one in sets)
            more = "" if bar["complete"] else "<li>and others like them</li>"
            name = escape(bar_name(plain(bar["bar"])))
            rows.append(f'<li><a href="#bar-{bar["bar_index"]}">{name}'
                        f'</a><ul class="remedies">{groups}{more}</ul></li>')
    if not rows:
        return ""
    return ("<h2>Notes that exclude one another</h2><p>Of each group at least one note has to "
            f'change before the bar can be played.</p><ol class="entries">{"".join(rows)}</ol>')
