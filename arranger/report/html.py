"""One self-contained page: the engraved draft with every alteration and finding beside it."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable, Iterator, Mapping, Sequence
from hashlib import sha256
from importlib.resources import files
from typing import Any

from arranger.model.harp import PedalSetting
from arranger.report.diagram import setting_svg
from arranger.report.page_lists import (
    bar_index,
    compass,
    diagrams,
    figures,
    item_list,
    mark_key,
    moves_table,
    shown,
)
from arranger.report.page_marks import Item, alteration_items, finding_items
from arranger.report.page_score import Engraving, Written, engrave, read_written
from arranger.report.wording import CAUTION, settings_words, tuning_words, verdict


def page(report: Mapping[str, Any], draft_xml: bytes) -> str:
    """Return the page as HTML text; it loads nothing and the same input gives the same text.

    Parameters
    ----------
    report
        The object written as ``report.json``, of a conversion or of a check.
    draft_xml
        MusicXML of the draft (or the checked part), its note ids those of the report.
    """
    written = read_written(draft_xml)
    alterations, findings = alteration_items(report), finding_items(report)
    marks = [m for item in (*alterations, *findings) for m in item.marks]
    engraving = engrave(written, marks)
    title = shown(written.title or report["source"]["file"])
    body = [
        _masthead(title, report),
        '<div class="desk">', _score(report, written, engraving),
        _notes(report, alterations, findings, _links(engraving, written)), "</div>",
        _pedals(report, written), _figures(report),
        f'<footer><p>{CAUTION}</p></footer>',
    ]
    return _document(title, engraving.font, "\n".join(body))


def _document(title: str, font: str, body: str) -> str:
    style, script = (files("arranger.report").joinpath(name).read_text("utf-8")
                     for name in ("page.css", "page.js"))
    digest = b64encode(sha256(script.encode()).digest()).decode()
    policy = ("default-src 'none'; font-src data:; style-src 'unsafe-inline'; "
              f"script-src 'sha256-{digest}'")
    return (f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
            f'<meta name="color-scheme" content="light dark">\n'
            f"<title>{title}: harp draft</title>\n<style>\n{style}{font}</style>\n</head>\n"
            f"<body>\n{body}\n<script>{script}</script>\n</body>\n</html>\n")


def _masthead(title: str, report: Mapping[str, Any]) -> str:
    source = report["source"]
    parts = ", ".join(shown(p) for p in source["parts"])
    kept = ", ".join(shown(p) for p in source.get("kept_parts", ()))
    beside = f"; beside it {kept}" if kept else ""
    grave = any(f["severity"] == "error" for f in report["findings"])
    return (f'<a class="skip" href="#notes">Past the score to the notes</a>\n<header>'
            f"<h1>{title}</h1>"
            f'<p class="verdict{" grave" if grave else ""}">{shown(_sentence(verdict(report)))}</p>'
            f'<p class="made">For harp, from {parts or "the score"}{beside} '
            f'({shown(source["file"])}). Made for {shown(settings_words(report["settings"]))}.</p>'
            f'{compass(report["notes"])}</header>')


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


def _score(report: Mapping[str, Any], written: Written, engraving: Engraving) -> str:
    out = ['<main id="score" tabindex="-1"><h2 class="quiet">Score</h2>']
    if engraving.problem:
        out.append(f'<p class="problem" role="alert">{engraving.problem}</p>')
    else:
        out.append('<p class="tools"><label><input type="checkbox" id="marks" checked> '
                   "Signs on the score</label></p>")
        out.append(f'<svg class="store" aria-hidden="true"><defs>{engraving.glyphs}</defs></svg>')
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
    bar = shown(written.bars[engraving.first_bars[number] - 1])
    return (f'<p class="standing"><span>Page {number + 1}, at bar {bar} the pedals stand</span>'
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
    out = ['<aside id="notes" tabindex="-1" aria-label="Notes to the draft">', mark_key(),
           f"<h2>Findings <small>{len(findings)}</small></h2>"]
    out.append(item_list(findings, link) if findings else "<p>None.</p>")
    if "ledger" in report:
        out.append(f"<h2>Alterations <small>{len(alterations)}</small></h2>")
        out.append(item_list(alterations, link) if alterations
                   else "<p>None: the source can be played as it is written.</p>")
    return "\n".join([*out, "</aside>"])


def _pedals(report: Mapping[str, Any], written: Written) -> str:
    pedals = report.get("pedals")
    if not pedals:
        return ""
    opening = PedalSetting.of(pedals["opening"])
    return ('<section id="pedals"><h2>Pedals</h2>'
            "<p>A peg above the line is flat, on the line natural, below it sharp.</p>"
            f"{_tuned(pedals)}{diagrams(opening, written.settings, written.bars)}"
            f'{moves_table(pedals["moves"], written.bars)}</section>')


def _tuned(pedals: Mapping[str, Any]) -> str:
    words = tuning_words(pedals)
    return f"<p><strong>{shown(words)}</strong></p>" if words else ""


def _figures(report: Mapping[str, Any]) -> str:
    return "".join(_figure_tables(report))


def _figure_tables(report: Mapping[str, Any]) -> Iterator[str]:
    cost = report.get("cost") or {}
    yield '<section id="figures"><h2>Figures</h2><div class="tables">'
    if cost:
        terms = {k: v for k, v in sorted(cost.items(), key=lambda kv: (-kv[1], kv[0])) if v}
        yield figures("Cost by term", ("Term", "Cost"),
                      {**terms, "total": cost.get("total", 0)}, "total")
    if report.get("summary"):
        yield figures("Measures of the draft", ("Measure", "Value"), report["summary"])
    yield "</div>"
    if cost and "bound" in report:
        gap = cost.get("total", 0) - report["bound"]
        yield ("<p>Proven best: within the model no draft can cost less.</p>" if gap <= 0 else
               f"<p>Within the model no draft can cost less than {shown(report['bound'])}; "
               f"this one is at most {gap} above the best.</p>")
    yield "</section>"
