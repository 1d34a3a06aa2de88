"""The lists and tables of the page: findings, alterations, pedals, costs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from html import escape
from itertools import groupby
from typing import Any

from arranger.model.harp import PedalSetting, pedal_word
from arranger.model.score import bar_name
from arranger.report.diagram import setting_svg
from arranger.report.page_marks import SHAPE_WORDS, Item
from arranger.report.wording import (
    Entry,
    beat_words,
    capital,
    message,
    note_label,
    place,
    plain,
)
from arranger.rulebook.rules import rulebook

Link = Callable[[Item], str]  # address of the place on the score
#: What the names of figures in a report mean.
FIGURE_WORDS = {
    "source_notes": "notes in the source", "draft_notes": "notes in the draft",
    "notes_kept": "share of the source's notes that sound as written",
    "pedal_moves": "pedal moves after the start",
    "lever_moves": "lever moves after the start", "errors": "places beyond the harp",
    "warnings": "places against the idiom", "advice": "matters of taste",
    "attacks": "moments at which strings are plucked", "pedal_marks": "pedal marks found",
    "lever_marks": "lever marks found",
    "notes": "notes left out, changed or on another string", "pedals": "work of the feet",
    "levers": "moving levers", "hands": "work of the hands", "total": "together",
}
_LINES = 16  # moments in one table of pedal moves


def shown(value: object) -> str:
    """Escape a value for HTML, without control characters."""
    return escape(plain(value))


def mark_key(altered: bool = True) -> str:
    """Explain the shapes drawn round the notes; only that of findings if nothing is ``altered``."""
    drawn = {
        "ring": '<ellipse cx="12" cy="9" rx="9" ry="7"/>',
        "box": '<path d="M4 3h16v12h-16z"/>',
        "caret": '<path d="M6 15l6 -11l6 11"/>',
        "lozenge": '<path d="M1 9l11 -8l11 8l-11 8z"/>',
    }
    rows = "".join(
        f'<li><svg class="sign {shape}" viewBox="0 0 24 18" aria-hidden="true">{drawn[shape]}</svg>'
        f"<span>{words}</span></li>" for shape, words in SHAPE_WORDS.items()
        if altered or shape == "lozenge")
    return f'<ul class="key" aria-label="Signs on the score">{rows}</ul>'


def item_list(items: Sequence[Item], link: Link, level: str = "h3") -> str:
    """Set the entries under a heading for each kind, each linked to its place on the score.

    The reason of an alteration stands before it, once for all that follow each other with it.
    """
    out = []
    for heading, group in groupby(items, key=lambda item: item.heading):
        some = list(group)
        out.append(f'<div class="group" data-kind="{shown(heading)}">')
        out.append(f"<{level}>{shown(heading).capitalize()} <small>{len(some)}</small></{level}>")
        for reason, run in groupby(some, key=lambda item: _reason(item.entry)):
            out.append(f'<p class="why">{reason}</p>' if reason else "")
            lines = "".join(_row(item, link(item)) for item in run)
            out.append(f'<ol class="entries">{lines}</ol>')
        out.append("</div>")
    return "".join(out)


def _row(item: Item, address: str) -> str:
    entry = item.entry
    body = _finding(entry) if "message" in entry else _alteration(entry)
    grave = ' class="grave"' if entry.get("severity") == "error" else ""
    return (f'<li id="{item.id}"{grave}><a href="{address}"><b>{item.sign}</b>'
            f"<span>{escape(place(entry))}</span></a> {body}</li>")


def _reason(entry: Entry) -> str:
    """Say why a note was altered, with the rule; findings have none, but a sentence each."""
    if "message" in entry:
        return ""
    return f'{shown(entry["reason"])}{_rule(entry["rule"])}'


def _rule(code: str, name: str = "") -> str:
    """Name a rule by its code and by what it says, for no reader knows codes by heart."""
    known = rulebook().get(str(code))
    meaning = known.title if known else name.replace("-", " ")
    if not code or not meaning:
        return ""
    said = shown(meaning[:1].lower() + meaning[1:])
    return f' <span class="rule">Rule {shown(code)}: {said}</span>'


def _alteration(entry: Entry) -> str:
    before = ", ".join(note_label(str(n["name"])) for n in entry["before"])
    after = ", ".join(note_label(str(n["name"])) for n in entry["after"])
    change = before if before == after or not after else f"{before} to {after}" if before else after
    return f'<span class="change">{escape(change)}</span>'


def _finding(entry: Entry) -> str:
    remedies = "".join(
        f"<li>{shown(r['title'])} <small>{_price(r)}</small></li>"
        for r in entry.get("remedies", ()))
    ways = f'<ul class="remedies" aria-label="What would help">{remedies}</ul>' if remedies else ""
    source = f' <span class="rule">({shown(entry["source"])})</span>' if "source" in entry else ""
    return (f'<span class="why">{escape(message(entry))}'
            f'{_rule(entry["code"], str(entry["name"]))}{source}</span>{ways}')


def _price(remedy: Entry) -> str:
    said = [shown(remedy["fidelity"]).replace("-", " ")] if remedy.get("fidelity") else []
    cost = remedy.get("cost")
    if cost is not None:
        said.append(f"weight {cost:+d}")
    return ", ".join(said)


def diagrams(opening: PedalSetting, sections: Sequence[tuple[int, PedalSetting]],
             bars: Sequence[str]) -> str:
    """Set the opening diagram and one for each printed setting, linked to its bar."""
    opened = [("Start", opening, "#score")]
    opened += [(capital(bar_name(shown(bars[index - 1]))), setting, f"#bar-{index}")
               for index, setting in sections if index > 1]
    rows = "".join(f'<li><a href="{address}">{words}</a>{setting_svg(setting)}</li>'
                   for words, setting, address in opened)
    return f'<ul class="diagrams" aria-label="Pedal settings">{rows}</ul>'


def moves_table(moves: Sequence[Entry], bars: Sequence[str]) -> str:
    """Set the moves in tables side by side, a line a moment, right foot first as in a harp part."""
    if not moves:
        return "<p>No pedal moves after the start.</p>"
    moments: dict[Fraction, list[Entry]] = defaultdict(list)
    for move in moves:
        moments[Fraction(move["onset"])].append(move)
    lines = [some for _, some in sorted(moments.items())]
    tables = "".join(_moves(lines[at:at + _LINES], bars) for at in range(0, len(lines), _LINES))
    return ("<h3>Moves</h3><p>A boxed letter passes two notches.</p>"
            f'<div class="tables">{tables}</div>')


def damping_list(damps: Sequence[Entry], bars: Sequence[str]) -> str:
    """List where a hand silences strings that would ring on, each linked to its bar."""
    if not damps:
        return ""
    rows = []
    for damp in damps:
        index = bar_index(damp, bars)
        where = escape(place(damp))
        link = f'<a href="#bar-{index}">{where}</a>' if index else where
        names = escape(", ".join(note_label(str(s)) for s in damp["strings"]))
        hand = "left" if damp["hand"] == "L" else "right"
        why = "" if damp["rule"] == "R2" else ", for the pedal"
        rows.append(f"<li>{link}: the {hand} hand damps {names}{why}</li>")
    return ("<h3>Damping</h3><p>These strings would ring on into a harmony they are foreign to, "
            "or be heard as a pedal moves, and a hand is free. Other places are left to you.</p>"
            f'<ul class="damping">{"".join(rows)}</ul>')


def _moves(lines: Sequence[Sequence[Entry]], bars: Sequence[str]) -> str:
    rows = "".join(_moment(some, bars) for some in lines)
    first, last = (shown(line[0]["bar"]) for line in (lines[0], lines[-1]))
    where = capital(bar_name(first)) if first == last else (
        f"Upbeat to bar {last}" if first == "0" else f"Bars {first}-{last}")
    return (f'<table class="moves"><caption>{where}</caption><thead><tr>'
            '<th scope="col">Bar</th><th scope="col">Beat</th><th scope="col">Right foot</th>'
            f'<th scope="col">Left foot</th></tr></thead><tbody>{rows}</tbody></table>')


def _moment(moves: Sequence[Entry], bars: Sequence[str]) -> str:
    first = moves[0]
    index = bar_index(first, bars)
    number = shown(first["bar"])
    bar = f'<a href="#bar-{index}">{number}</a>' if index else number
    feet = ["".join(_move(m) for m in moves if m["foot"] == foot) or '<span class="rest">-</span>'
            for foot in "RL"]
    return (f'<tr><th scope="row">{bar}</th><td>{beat_words(first["beat"])}</td>'
            f"<td>{feet[0]}</td><td>{feet[1]}</td></tr>")


def _move(move: Entry) -> str:
    word = escape(pedal_word(move["pedal"], move["to"]))
    if abs(move["to"] - move["from"]) == 2:
        return f'<span class="two" title="two notches">{word}</span> '
    return f"{word} "


def bar_index(entry: Entry, bars: Sequence[str]) -> int:
    """Index of the entry's bar from 1, by ``bar_index`` or the printed number; 0 if unknown."""
    index = entry.get("bar_index")
    if isinstance(index, int) and 1 <= index <= len(bars):
        return index
    return bars.index(entry["bar"]) + 1 if entry["bar"] in bars else 0


def figures(title: str, head: tuple[str, str], rows: Mapping[str, Any], total: str = "") -> str:
    """Set a mapping of names to numbers in a table; the row named ``total`` closes it."""
    lines = "".join(_figure(name, value) for name, value in rows.items() if name != total)
    foot = f"<tfoot>{_figure(total, rows[total])}</tfoot>" if total in rows else ""
    return (f'<table><caption>{title}</caption><thead><tr><th scope="col">{head[0]}</th>'
            f'<th scope="col">{head[1]}</th></tr></thead><tbody>{lines}</tbody>{foot}</table>')


def _figure(name: str, value: object) -> str:
    number = f"{value:.3g}" if isinstance(value, float) else shown(value)
    label = FIGURE_WORDS.get(name) or shown(name).replace("_", " ").replace("-", " ")
    return f'<tr><th scope="row">{label}</th><td>{number}</td></tr>'


def compass(notes: Sequence[Entry]) -> str:
    """Draw the strings of the harp, each as dark as it is busy, C strings and F strings marked."""
    return "".join(_compass(notes))


def _compass(notes: Sequence[Entry]) -> Iterator[str]:
    uses: dict[int, int] = defaultdict(int)
    for note in notes:
        name = str(note["string"])
        letter, octave = name[:1], name.lstrip("ABCDEFG#b")
        if letter in "CDEFGAB" and octave.lstrip("-").isdecimal():
            uses[7 * int(octave) + "CDEFGAB".index(letter)] += 1
    if not uses:
        return
    low, high, most = min(7, *uses), max(53, *uses), max(uses.values())
    edges = [f"{'CDEFGAB'[p % 7]}{p // 7}" for p in (min(uses), max(uses))]
    words = f"Strings used: {len(uses)}, from {edges[0]} to {edges[1]}."
    yield (f'<figure class="compass"><svg viewBox="0 0 {(high - low) * 10 + 10} 44" role="img" '
           f'aria-label="{words}" preserveAspectRatio="none">')
    for p in range(low, high + 1):
        letter = "CDEFGAB"[p % 7]
        tone = {"C": "c-string", "F": "f-string"}.get(letter, "string")
        height = 0 if p not in uses else 4 + 36 * uses[p] / most
        x = (p - low) * 10 + 5
        yield f'<path class="{tone}" d="M{x} 42V{42 - max(height, 2):.1f}"/>'
    yield (f"</svg><figcaption>{words} A tall line is a busy string; C and F strings in their "
           "colours.</figcaption></figure>")
