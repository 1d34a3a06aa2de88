"""The parts of a work's desk: what is asked for, other ways at hard places, what is taken home."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any

from arranger.io.choices_file import read_choices
from arranger.model.errors import ArrangerError
from arranger.report.wording import Entry, entailed, message, place, plain
from arranger.rulebook.titles import titles
from arranger.web.jobs import RUNNING
from arranger.web.printing import NAME as PRINTED
from arranger.web.shelf import KEYS
from arranger.web.store import Work, get_json

#: Changes of the whole weight that are called small, and large (assumption).
_SMALL, _LARGE = 30, 150


def shown(text: object) -> str:
    """Text from a file, made safe to stand in a page."""
    return escape(plain(text))


def _options(names: Mapping[str, str], chosen: str) -> str:
    return "".join(f'<option value="{shown(key)}"{" selected" if key == chosen else ""}>'
                   f"{shown(words)}</option>" for key, words in names.items())


def asked_for(work: Work, parts: Mapping[str, Any]) -> str:
    """What the score is to be arranged for, as a sentence to fill in."""
    settings = work.told("work").get("settings", {})
    chosen = settings.get("parts", parts.get("chosen", ()))
    still = " disabled" if work.told("job").get("state") in RUNNING else ""
    ticks = "".join(
        f'<label><input type="checkbox" name="parts" value="{shown(p["id"])}"'
        f'{" checked" if p["id"] in chosen else ""}> {shown(p["name"] or p["id"])}</label>'
        for p in parts["parts"])
    made = bool(work.made("draft") or work.made("check"))
    again = "Make the draft again" if work.made("draft") else "Make the harp draft"
    return (
        f'<details id="asked"{"" if made else " open"}><summary>What it is made for</summary>'
        f'<form id="ask"><fieldset{still}><legend class="quiet">What the harp is to play</legend>'
        f'<div class="row" role="group" aria-labelledby="parts"><span id="parts">From</span>'
        f'<div class="parts">{ticks}</div></div>'
        f'{_row("Harp", "harp", titles("harps"), settings)}'
        f'{_row("Player", "player", titles("players"), settings)}'
        f'{_row("Key", "transpose", KEYS, settings)}'
        f'<div class="row"><label for="tempo">Tempo</label><span><input id="tempo" name="tempo" '
        f'inputmode="decimal" size="6" placeholder="its own" aria-describedby="per" '
        f'value="{shown(settings.get("tempo", ""))}"> <span id="per">crotchets a minute</span>'
        f'</span></div><p><label class="tick"><input type="checkbox" name="part_is_harp"'
        f'{" checked" if settings.get("part_is_harp") else ""}> <span>It is a harp part already: '
        f"change only what I choose</span></label></p>"
        f'<p><label class="tick"><input type="checkbox" name="chords"'
        f'{" checked" if settings.get("chords") else ""}> <span>The left hand plays the chord '
        f"symbols</span></label></p>"
        f'<p class="do"><button class="main" data-ask="convert">{again}</button> '
        f'<button data-ask="check">Check it as a harp part</button></p></fieldset></form>'
        "</details>")


def _row(label: str, name: str, names: Mapping[str, str], settings: Mapping[str, Any]) -> str:
    return (f'<div class="row"><label for="{name}">{label}</label><select id="{name}" '
            f'name="{name}">{_options(names, settings.get(name, ""))}</select></div>')


def other_ways(work: Work) -> str:
    """Hard places and what else would do there, with the choices that are made."""
    if not work.made("draft"):
        return ""
    found = work.made("ways")
    told: Mapping[str, Any] = get_json(found) if found else {}
    still = " disabled" if work.told("job").get("state") in RUNNING else ""
    chosen = taken(work)
    spots = "".join(_spot(s, chosen, still) for s in told.get("spots", ()))
    if found and not spots:
        spots = "<p>No place there stands out as hard.</p>"
    old = ('<p class="soft">The draft was made anew since. What each way costs is told as it was '
           "before; look again for what it is now.</p>" if found and _older(work) else "")
    again = "Look again" if found else "Look for other ways"
    return ('<section id="ways" aria-label="Other ways"><h2>Other ways</h2>'
            f"{_choices(work, chosen, still)}{old}"
            f'<ol class="spots">{spots}</ol>{_drafts(work, told.get("drafts", ()))}'
            f'<p><button data-ask="ways"{still}>{again}</button> '
            f'<label>in bars <input name="bars" size="7" placeholder="all" form="none"{still} '
            f'aria-label="printed bars such as 9-12; empty: the hardest of all"></label></p>'
            f'<p class="soft">A few bars take up to a minute, a whole piece many.</p>'
            "</section>")


def _older(work: Work) -> bool:
    ways, draft = work.made("ways"), work.made("draft")
    return bool(ways and draft and ways.stat().st_mtime_ns < draft.stat().st_mtime_ns)


def taken(work: Work) -> Mapping[str, str]:
    """Choices in force: id -> words."""
    try:
        found = read_choices(work.choices) if work.choices.is_file() else ()
    except ArrangerError:
        return {}
    return {c.id: c.words for c in found}


def _choices(work: Work, chosen: Mapping[str, str], still: str) -> str:
    lines = "".join(
        f'<li>{shown(words)} <button data-leave="{shown(ident)}"{still} '
        f'aria-label="Take back: {shown(words)}">Take back</button></li>'
        for ident, words in chosen.items())
    report = get_json(work.folder / "draft" / "report.json").get("choices", {})
    broken = "".join(f'<li class="grave">{shown(line)}</li>'
                     for key in ("not_kept", "not_found") for line in report.get(key, ()))
    undo = f'<p><button id="undo" data-ask="undo"{still}>Undo the last change</button></p>' \
        if work.changes() else ""
    if not (lines or broken or undo):
        return ""
    heading = "<h3>Chosen</h3>" if lines or broken else ""
    return f'{heading}<ul class="chosen">{lines}{broken}</ul>{undo}'


def _spot(spot: Entry, taken: Mapping[str, str], still: str) -> str:
    where = place(spot)
    said = "; ".join(dict.fromkeys(shown(message(f)) for f in spot["findings"][:2]))
    ways = "".join(_way(o, spot, taken, still) for o in spot["options"])
    ways = (f'<ul class="options">{ways}</ul>' if ways else
            '<p class="soft">No other way was found.</p>')
    return (f'<li><h3><a href="#sheet" data-bar="{int(spot["bar_index"])}">'
            f"{shown(where[:1].upper() + where[1:])}</a></h3>"
            f"<p>{said[:1].upper()}{said[1:]}.</p>{ways}</li>")


def _way(option: Entry, spot: Entry, taken: Mapping[str, str], still: str) -> str:
    chosen = option["id"] in taken
    title = shown(str(option["title"])[:1].upper() + str(option["title"])[1:])
    do = ("<strong>chosen</strong>" if chosen else
          f'<button data-take="{shown(option["id"])}" data-bar="{int(spot["bar_index"])}"{still} '
          f'aria-label="Choose: {title}">Choose</button>')
    said, listed = entailed(option.get("knock_on", ()))
    also = (f'<details class="soft"><summary>{shown(said)}</summary>{listed}</details>' if listed
            else f'<span class="soft">{shown(said)}</span>' if said else "")
    price = _price(int(option["cost_change"]))
    return f'<li><span class="way">{title}</span> <em>{price}</em> {do}{also}</li>'


def _price(change: int) -> str:
    """How much more or less weighs against the whole, in words and in the report's figures."""
    if change < -100_000:
        return "makes it playable"
    if change == 0:
        return "weighs the same"
    size = abs(change)
    how = "a little " if size <= _SMALL else "much " if size > _LARGE else ""
    return f'weighs {how}{"less" if change < 0 else "more"} ({change:+d})'


def _drafts(work: Work, drafts: Iterable[Entry]) -> str:
    rows = []
    for draft in drafts:
        figures = draft.get("summary", {})
        if draft.get("weights") and work.made("ways", str(draft.get("file"))):
            rows.append(f'<li><a href="/works/{work.id}/files/ways/{shown(draft["file"])}?home">'
                        f'{shown(draft["title"])}</a> <span class="soft">'
                        f'{shown(figures.get("pedal_moves", "-"))} pedal moves, '
                        f'{shown(figures.get("alterations", "-"))} alterations</span></li>')
    return f'<h3>Whole drafts</h3><ul class="chosen">{"".join(rows)}</ul>' if rows else ""


def taken_home(work: Work) -> str:
    """Links to what was made."""
    offered = (("draft", "draft.musicxml", "the draft, for a notation program"),
               ("draft", PRINTED, "the part, to print"),
               ("draft", "draft.mid", "the draft, to hear (MIDI)"),
               ("draft", "report.html", "the report, as a page"),
               ("check", "marked.musicxml", "your part with pedals and findings"),
               ("check", "report.html", "the report of the check"))
    links = [f'<li><a href="/works/{work.id}/files/{kind}/{name}?home" download>{words}</a></li>'
             for kind, name, words in offered
             if work.made(kind, "draft.musicxml" if name == PRINTED else name)]
    if work.choices.is_file() and work.choices.stat().st_size:
        links.append(f'<li><a href="/works/{work.id}/files/choices.toml?home" download>your '
                     f"choices, to use with another edition</a></li>")
    return ('<section id="home" aria-label="Take home"><h2>Take home</h2>'
            f'<ul class="chosen">{"".join(links)}</ul></section>' if links else "")
