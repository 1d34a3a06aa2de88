"""The chosen bar: compared, heard, its entries, its notes in words; filled by the page's script."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_KEYS = ("Keys, while the score or the strip of bars has the focus: left and right choose the bar, "
         "the space bar plays or stops, D plays the draft, S the source. In the lists, up and down "
         "go from entry to entry.")


def bar_panel(report: Mapping[str, Any]) -> str:
    """Return the panel, hidden until the script has something to show in it."""
    if not report.get("bars") or "tempo" not in report:
        return ""
    version = "the draft" if "ledger" in report else "the part"
    sides = ("Source", "Draft") if "ledger" in report else ("Part",)
    columns = "".join(f'<th scope="col">{words}</th>' for words in ("After", *sides))
    return f"""<section id="bar" aria-labelledby="which" hidden>
<div class="bar-head"><h2 id="which">Bar</h2>
<p><button type="button" id="earlier">earlier</button>
<button type="button" id="later">later</button>
<button type="button" id="fold" aria-expanded="false">look closer</button></p></div>
<p class="hear">Hear from here <button type="button" data-play="source"
 aria-pressed="false">the source</button>
<button type="button" data-play="draft" aria-pressed="false">{version}</button>
<button type="button" id="stop" disabled>stop</button></p>
<div id="pair" class="scroll" tabindex="0" role="region"
 aria-label="Source above draft" hidden></div>
<p class="pace"><label for="pace">Crotchet <output id="crotchet" for="pace"></output>
 at the start</label> <input type="range" id="pace" min="30" max="120" step="5" value="100"
 aria-label="Tempo in per cent of the draft's"></p>
<ul id="here-notes"></ul><p id="here-none">Nothing is altered or found in this bar.</p>
<details id="in-words"><summary>The bar in words</summary>
<table id="words"><thead><tr>{columns}</tr></thead><tbody></tbody></table></details>
<details><summary>Keys</summary><p>{_KEYS}</p></details></section>"""
