"""The page of a survey: one table of scores that can be sorted and searched; it loads nothing."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256
from importlib.resources import files
from typing import Any

from arranger.report.page_lists import shown
from arranger.report.wording import settings_words

Row = Mapping[str, Any]
#: Heading, whether it is a number, and what it means.
COLUMNS = (
    ("Score", False, "file in the folder"),
    ("Suits the harp", True, "best first"),
    ("Notes kept", True, "share of the notes that sound as written; under it what is lost or "
                         "sounds otherwise"),
    ("Moves a bar", True, "pedals, or levers, moved after the start"),
    ("Tempo ceiling", True, "fastest crotchet at which feet and hands have the time they need"),
    ("Hardest bar", False, "most moves and altered notes together"),
    ("Best key", False, "within a fourth: least lost (tune and bass first), then fewest moves"),
    ("Lever harp", True, "34 strings in E flat, every note without moving a lever"),
    ("Bars", True, "as written"))
#: From best to worst; the words are those of the rows.
RANKS = ("as it is", "with slight changes", "at a slower tempo", "with changes")
LEVERS = ("as written", "transposed", "no")


def survey_page(rows: Sequence[Row], settings: Mapping[str, str]) -> str:
    """Return the page as HTML text; the same rows give the same text.

    Parameters
    ----------
    rows
        One a file, in the order in which they are shown first; those with ``refused`` are listed
        below the table.
    settings
        Harp, player and what else was asked for.
    """
    good = [row for row in rows if "refused" not in row]
    bad = [row for row in rows if "refused" in row]
    body = [
        f'<a class="skip" href="#scores">To the table</a>\n<header><h1>Which scores suit the harp'
        f'</h1><p class="verdict">{_verdict(good, bad)}</p>'
        f'<p class="made">Made for {shown(settings_words(settings))}.</p></header>',
        '<main><p id="said" class="quiet" role="status"></p>', _table(good), _refused(bad),
        "</main><footer><p>The figures are those of the drafts that <code>arranger convert</code> "
        "makes with the same settings. They say what a part asks of feet and hands, not whether "
        "the music is worth it.</p></footer>"]
    return _document("\n".join(body))


def _verdict(good: Sequence[Row], bad: Sequence[Row]) -> str:
    counts = [(sum(r["suits"] == rank for r in good), rank) for rank in RANKS]
    told = ", ".join(f"{count} {rank}" for count, rank in counts if count)
    missed = f"; {len(bad)} could not be measured" if bad else ""
    return f"{len(good)} score{'s' * (len(good) != 1)}: {told or 'none'}{missed}."


def _table(rows: Sequence[Row]) -> str:
    if not rows:
        return ""
    heads = "".join(
        f'<th scope="col"{" class=n" * (name in ("Notes kept", "Moves a bar", "Bars"))} '
        f'data-name="{name}"{" data-by=n" * number} title="{why}"><button type="button">{name}'
        f"</button></th>" for name, number, why in COLUMNS)
    lines = "\n".join(_line(at, row) for at, row in enumerate(rows))
    return ('<p class="sieve"><label for="words">Show only scores with the words</label> '
            '<input id="words" type="search" autocomplete="off"></p>\n'
            '<div class="scroll" role="region" tabindex="0" aria-label="Table of scores">'
            '<table id="scores"><caption>A heading sorts the table, once more the other way round.'
            "</caption>"
            f"<thead><tr>{heads}</tr></thead>\n<tbody>\n{lines}\n</tbody></table></div>")


def _line(at: int, row: Row) -> str:
    grave = ' class="grave"' if row["errors"] else ""
    return f'<tr data-at="{at}"{grave}>{"".join(_cells(row))}</tr>'


def _cells(row: Row) -> Iterator[str]:
    yield f'<th scope="row">{shown(row["file"])}{_small(", ".join(row["parts"]))}</th>'
    errors = row["errors"]
    beyond = f"{errors} place{'s' * (errors > 1)} beyond the harp" if errors else ""
    yield f'<td data-v="{RANKS.index(row["suits"])}">{row["suits"]}{_small(beyond)}</td>'
    told = [f"{row[name]} {word}" for name, word in (("lost", "lost"), ("changed", "changed"))
            if row[name]]
    yield (f'<td class="n" data-v="{row["kept"]}">{_percent(row["kept"])}'
           f'{_small(", ".join(told))}</td>')
    yield f'<td class="n" data-v="{row["moves_per_bar"]}">{row["moves_per_bar"]:.2f}</td>'
    yield _ceiling(row)
    yield f'<td>{shown(row["hardest"])}{_small(row["hardest_why"])}</td>'
    yield f'<td>{shown(row["best_key"])}</td>'
    keys = "; ".join(row["lever_keys"][:3]) if row["lever_fit"] == "transposed" else ""
    yield f'<td data-v="{LEVERS.index(row["lever_fit"])}">{row["lever_fit"]}{_small(keys)}</td>'
    yield f'<td class="n" data-v="{row["bars"]}">{row["bars"]}</td>'


def _ceiling(row: Row) -> str:
    if row["ceiling"] is None:
        return '<td data-v="">no limit</td>'
    written = f"written {row['tempo']:g}{', assumed' * row['tempo_assumed']}"
    where = f", bar {row['ceiling_bars']}" if row["ceiling_bars"] else ""
    return (f'<td data-v="{row["ceiling"]}">{row["ceiling"]}'
            f'{_small(f"{written}{where}")}</td>')


def _percent(share: float) -> str:
    """Never round up to all: 99.96 per cent is not every note."""
    return "100%" if share == 1 else f"{min(100 * share, 99.9):.1f}%"


def _small(text: str) -> str:
    return f"<small>{shown(text)}</small>" if text else ""


def _refused(rows: Sequence[Row]) -> str:
    if not rows:
        return ""
    lines = "\n".join(f"<li>{shown(row['file'])}: {shown(row['refused'])}</li>" for row in rows)
    return f'<section id="refused"><h2>Not measured</h2><ul>\n{lines}\n</ul></section>'


def _document(body: str) -> str:
    look, own, script = (files("arranger.report").joinpath(name).read_text("utf-8")
                         for name in ("page.css", "survey.css", "survey.js"))
    digest = b64encode(sha256(script.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{digest}'"
    return (f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
            f'<meta name="color-scheme" content="light dark">\n'
            f"<title>Which scores suit the harp</title>\n<style>\n{look}{own}</style>\n</head>\n"
            f"<body>\n{body}\n<script>{script}</script>\n</body>\n</html>\n")
