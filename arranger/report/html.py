"""One self-contained page: the engraved draft with every alteration and finding beside it."""

from __future__ import annotations

from base64 import b64encode
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from hashlib import sha256
from importlib.resources import files
from typing import Any

from arranger.model.harp import PedalSetting
from arranger.model.score import bar_name
from arranger.report.diagram import setting_svg
from arranger.report.engraver import as_text
from arranger.report.page_bar import bar_panel
from arranger.report.page_bars import packed
from arranger.report.page_check import MEANT, exclusions, judged
from arranger.report.page_drafts import whole_drafts
from arranger.report.page_drawings import Drawings, drawings
from arranger.report.page_feet import pedal_chart
from arranger.report.page_levers import levers_section
from arranger.report.page_lists import (
    bar_index,
    compass,
    damping_list,
    diagrams,
    figures,
    item_list,
    mark_key,
    moves_table,
    shown,
)
from arranger.report.page_marks import Item, alteration_items, finding_items
from arranger.report.page_score import Engraving, Written
from arranger.report.page_spots import spots_section
from arranger.report.page_strip import bar_strip, strip_key
from arranger.report.page_time import Source, as_script, time_data
from arranger.report.placing_brackets import placed_together
from arranger.report.wording import CAUTION, settings_words, tuning_words, verdict

_NO_SOURCE = Source()


def drawn_for(report: Mapping[str, Any], draft_xml: bytes, source: Source = _NO_SOURCE) -> Drawings:
    """Engrave what the page of a report shows."""
    marks = [m for item in _items(report) for m in item.marks]
    return drawings(marks, draft_xml, source, placed_together(report["notes"]))


def page(report: Mapping[str, Any], drawn: Drawings, source: Source = _NO_SOURCE) -> str:
    """Return the page as HTML text; it loads nothing and the same input gives the same text.

    Parameters
    ----------
    report
        The object written as ``report.json``, of a conversion or of a check.
    drawn
        The draft (or the checked part) as ``drawn_for`` engraved it; its note ids those of the
        report.
    source
        The arranged part as it was, to be seen and heard beside the draft.
    """
    alterations, findings = alteration_items(report), finding_items(report)
    written, engraving, glyphs = drawn.written, drawn.wide, drawn.glyphs
    title = shown(written.title or report["source"]["file"])
    body = [
        _masthead(title, report), bar_strip(report, written.bars if engraving.pages else ()),
        f'<svg class="store" aria-hidden="true"><defs>{"".join(map(as_text, glyphs.values()))}'
        "</defs></svg>",
        '<div class="desk">', _score(report, drawn),
        '<aside id="notes" tabindex="-1" aria-label="Findings and changes">', bar_panel(report),
        _notes(report, alterations, findings, _links(engraving, written)), "</aside></div>",
        spots_section(report), levers_section(report, written.bars if engraving.pages else ()),
        _pedals(report, written, bool(engraving.pages)), whole_drafts(report), _figures(report),
        f"<footer><p>{MEANT if report['command'] == 'check' else CAUTION}</p></footer>",
        _store("time", "application/json", as_script(time_data(report, source))),
        _store("pairs", "text/plain", packed(drawn.pairs)),
        _store("narrow", "text/plain", packed(drawn.narrow.pages)),
    ]
    what = "harp part checked" if report["command"] == "check" else "harp draft"
    return _document(f"{title}: {what}", engraving.font, "\n".join(body))


def _items(report: Mapping[str, Any]) -> tuple[Item, ...]:
    return (*alteration_items(report), *finding_items(report))


def _store(name: str, kind: str, text: str) -> str:
    return f'<script type="{kind}" id="{name}">{text}</script>'


def _document(title: str, font: str, body: str) -> str:
    style, sound, script = (files("arranger.report").joinpath(name).read_text("utf-8")
                            for name in ("page.css", "sound.js", "page.js"))
    script = sound + script
    digest = b64encode(sha256(script.encode()).digest()).decode()
    policy = ("default-src 'none'; font-src data:; style-src 'unsafe-inline'; "
              f"script-src 'sha256-{digest}'")
    return (f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
            f'<meta name="color-scheme" content="light dark">\n'
            f"<title>{title}</title>\n<style>\n{style}{font}</style>\n</head>\n"
            f"<body>\n{body}\n<script>{script}</script>\n</body>\n</html>\n")


def _masthead(title: str, report: Mapping[str, Any]) -> str:
    source = report["source"]
    parts = ", ".join(shown(p) for p in source["parts"])
    kept = ", ".join(shown(p) for p in source.get("kept_parts", ()))
    beside = f"; beside it {kept}" if kept else ""
    grave = any(f["severity"] == "error" for f in report["findings"])
    made = judged(report) if report["command"] == "check" else (
        f'<p class="made">For harp, from {parts or "the score"}{beside} '
        f'({shown(source["file"])}). Made for {shown(settings_words(report["settings"]))}.'
        f'{"".join(f" {shown(remark)}" for remark in report.get("remarks", ()))}</p>')
    return (f'<a class="skip" href="#notes">Past the score to the notes</a>\n<header>'
            f"<h1>{title}</h1>"
            f'<p class="verdict{" grave" if grave else ""}">{shown(_sentence(verdict(report)))}</p>'
            f"{made}</header>")


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _links(engraving: Engraving, written: Written) -> Callable[[Item], str]:
    def link(item: Item) -> str:
        for mark in item.marks:
            if mark.id in engraving.marked:
                return f"#{mark.id}"
        index = bar_index(item.entry, written.bars) if engraving.pages else 0
        return f"#bar-{index}" if index else "#score"
    return link


def _score(report: Mapping[str, Any], drawn: Drawings) -> str:
    written, engraving = drawn.written, drawn.wide
    out = ['<main id="score" tabindex="-1"><h2 class="quiet">Score</h2>']
    out += [f'<p class="problem" role="alert">{words}</p>' for words in drawn.problems]
    if engraving.pages:
        settings = _settings_at(report, written, engraving.first_bars)
        for number, svg in enumerate(engraving.pages):
            out.append(f'<section class="sheet">{_page_head(number, settings, written, engraving)}'
                       f'<div class="scroll" tabindex="0" role="region" '
                       f'aria-label="Score, page {number + 1}">{svg}</div></section>')
    return "\n".join([*out, "</main>"])


def _page_head(number: int, settings: Sequence[PedalSetting], written: Written,
               engraving: Engraving) -> str:
    """Show above every page but the first which setting is in force there."""
    if not number or not settings:
        return ""
    bar = bar_name(shown(written.bars[engraving.first_bars[number] - 1]))
    return (f'<p class="standing"><span>Page {number + 1}, at {bar} the pedals stand</span>'
            f"{setting_svg(settings[number])}</p>")


def _settings_at(report: Mapping[str, Any], written: Written,
                 indices: Sequence[int]) -> list[PedalSetting]:
    """Give the setting in force before the first note of each of these bars."""
    pedals = report.get("pedals")
    if not pedals:
        return []
    out = []
    for index in indices:
        setting = PedalSetting.of(pedals["opening"])
        for move in pedals["moves"]:
            if bar_index(move, written.bars) < index:
                setting = setting.with_pedal(move["pedal"], move["to"])
        out.append(setting)
    return out


def _notes(report: Mapping[str, Any], alterations: Sequence[Item], findings: Sequence[Item],
           link: Callable[[Item], str]) -> str:
    altered = "ledger" in report
    out = [mark_key(altered), strip_key(altered), _sieve((*findings, *alterations)),
           f"<h2>Findings <small>{len(findings)}</small></h2>"]
    out.append(item_list(findings, link) if findings else "<p>None.</p>")
    out.append(exclusions(report))
    if "ledger" in report:
        out.append(f"<h2>Alterations <small>{len(alterations)}</small></h2>")
        out.append(item_list(alterations, link) if alterations
                   else "<p>None: the source can be played as it is written.</p>")
    return "\n".join(out)


def _sieve(items: Sequence[Item]) -> str:
    """Offer to hide kinds of findings and alterations, in the lists and on the score."""
    kinds = Counter(item.heading for item in items)
    boxes = "".join(
        f'<label><input type="checkbox" data-sift="{shown(kind)}" checked> {shown(kind)} '
        f"<small>{count}</small></label>" for kind, count in kinds.items())
    if not boxes:
        return ""
    return (f'<fieldset class="sieve"><legend>Show, in the lists and on the score</legend>{boxes}'
            "</fieldset>")


def _pedals(report: Mapping[str, Any], written: Written, drawn: bool) -> str:
    pedals = report.get("pedals")
    if not pedals:
        return ('<section id="pedals" aria-label="Strings"><h2>Strings</h2>'
                f'{compass(report["notes"])}{_damping(report, written, drawn)}</section>')
    opening = PedalSetting.of(pedals["opening"])
    return ('<section id="pedals" aria-label="Pedals"><h2>Pedals</h2>'
            "<p>A peg above the line is flat, on the line natural, below it sharp.</p>"
            f"{_tuned(pedals)}{diagrams(opening, written.settings if drawn else (), written.bars)}"
            "<h3>Through the piece</h3><p>Each letter's line runs high for flat, in the middle for "
            "natural, low for sharp; a step is a move, boxed where it passes two notches. The left "
            "foot has the upper three, the right foot the lower four.</p>"
            f"{pedal_chart(report, drawn)}"
            f'{moves_table(pedals["moves"], written.bars if drawn else ())}'
            f'{_damping(report, written, drawn)}'
            f'<h3>Strings</h3>{compass(report["notes"])}</section>')


def _damping(report: Mapping[str, Any], written: Written, drawn: bool) -> str:
    return damping_list(report.get("damping", ()), written.bars if drawn else ())


def _tuned(pedals: Mapping[str, Any]) -> str:
    words = tuning_words(pedals)
    return f"<p><strong>{shown(words)}</strong></p>" if words else ""


def _figures(report: Mapping[str, Any]) -> str:
    return "".join(_figure_tables(report))


def _figure_tables(report: Mapping[str, Any]) -> Iterator[str]:
    cost = report.get("cost") or {}
    yield '<section id="figures" aria-label="Figures"><h2>Figures</h2><div class="tables">'
    if report.get("summary"):
        counts = {k: v for k, v in report["summary"].items() if k != "line"}
        yield figures("In numbers", ("What", "How much"), counts)
    if cost:
        terms = {k: v for k, v in sorted(cost.items(), key=lambda kv: (-kv[1], kv[0]))
                 if v and k != "total"}
        yield figures("What weighed against it", ("What", "Weight"),
                      {**terms, "total": cost.get("total", 0)}, "total")
    yield "</div>"
    if cost and "bound" in report:
        gap = cost.get("total", 0) - report["bound"]
        stays = min(gap, report.get("stays", 0))
        yield ("<p>Of all drafts by the same rules none weighs less.</p>" if gap <= 0 else
               f"<p>By the same rules no draft can weigh less than {shown(report['bound'])}; "
               f"this one is at most {gap} above the best"
               + (f", {stays} of them to leave what is written where a change would save too "
                  "little" if stays else "") + ".</p>")
    yield "</section>"
