"""The levers of a harp on the page: setting, keys and tunings that cost nothing, moves."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from arranger.model.harp import pedal_word
from arranger.report.page_lists import bar_index
from arranger.report.wording import (
    Entry,
    beat_words,
    key_words,
    note_label,
    plain,
    tuning_advice,
)


def levers_section(report: Entry, bars: Sequence[str]) -> str:
    """Set the section of a lever harp; nothing for any other.

    ``bars``: printed numbers of the engraved bars, to which the moves are linked.
    """
    levers = report.get("levers", {})
    if not levers.get("opening"):
        return ""
    told = [f"<p><strong>{escape(plain(levers['words']))}</strong></p>"]
    told += [f"<p>{escape(said[:1].upper() + said[1:])}.</p>"
             for said in (key_words(levers), tuning_advice(levers)) if said]
    return ('<section id="levers" aria-label="Levers"><h2>Levers</h2>'
            f"{''.join(told)}{_moves(levers['moves'], bars)}</section>")


def _moves(moves: Sequence[Entry], bars: Sequence[str]) -> str:
    if not moves:
        return "<p>No lever moves after the start.</p>"
    rows = "".join(_move(m, bars) for m in moves)
    return ('<h3>Moves of the left hand</h3><table class="moves"><thead><tr>'
            '<th scope="col">Bar</th><th scope="col">Beat</th><th scope="col">String</th>'
            f'<th scope="col">Lever to</th></tr></thead><tbody>{rows}</tbody></table>')


def _move(move: Entry, bars: Sequence[str]) -> str:
    index, number = bar_index(move, bars), escape(plain(move["bar"]))
    bar = f'<a href="#bar-{index}">{number}</a>' if index else number
    string = plain(move["string"])
    word = f"{pedal_word(string[:1], int(move['to']))}{string[1:]}"
    return (f'<tr><th scope="row">{bar}</th><td>{beat_words(move["beat"])}</td>'
            f"<td>{escape(note_label(string))}</td><td>{escape(word)}</td></tr>")
