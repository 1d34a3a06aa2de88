"""The two pages of the workbench as HTML: the shelf of scores, and the desk of one score."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from arranger.report.wording import plain
from arranger.web.desk import asked_for, other_ways, shown, taken, taken_home
from arranger.web.jobs import RUNNING
from arranger.web.store import Work

#: A job -> what is going on, and what it is called when it failed.
_GOING_ON = {"read": "Reading the score", "convert": "Making the draft",
             "check": "Checking the part", "ways": "Looking for other ways",
             "take": "Arranging with your choice", "leave": "Arranging without that choice",
             "undo": "Undoing the last change"}
#: Strings of a concert harp, from C1 to G7.
_STRINGS = 47


def _page(title: str, body: str, kind: str) -> str:
    return (f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
            f'<meta name="color-scheme" content="light dark">\n<title>{title}</title>\n'
            f'<link rel="icon" href="data:,">\n<link rel="stylesheet" href="/look/web.css">\n'
            f'<script src="/look/web.js" defer></script>\n</head>\n<body class="{kind}">\n'
            f"{body}\n</body>\n</html>\n")


def _strings() -> str:
    """The strings of a harp, the C strings and the F strings told apart as on the instrument."""
    lines = []
    for at in range(_STRINGS):
        x = 10 + at * 20
        share = at / (_STRINGS - 1)
        top = 4 + 66 * share ** 0.75 - 22 * share ** 5
        kind = {0: ' class="c-string"', 3: ' class="f-string"'}.get(at % 7, "")
        lines.append(f'<path{kind} d="M{x} {top:.1f}V{100 - 34 * share ** 1.3:.1f}"/>')
    return (f'<svg class="strings" viewBox="0 0 940 100" preserveAspectRatio="none" '
            f'aria-hidden="true">{"".join(lines)}</svg>')


def home(works: Sequence[Work], demos: Mapping[str, tuple[str, Path]]) -> str:
    """The first page: where a score is laid, and those that are kept."""
    offered = "".join(f'<li><button data-demo="{shown(name)}">{shown(title)}</button></li>'
                      for name, (title, _) in demos.items())
    trial = (f"<p>No score at hand? Try one of these:</p><ul class='demos'>{offered}</ul>"
             if offered else "")
    return _page("A score for the harp", (
        '<header><h1>A score for the harp</h1><p class="lead">Lay down a piano piece, a song or an '
        "ensemble score. You get back a harp part, and every note that had to change.</p></header>"
        f'<main><section id="lay" aria-label="New score">{_strings()}'
        '<p class="choose"><label class="pick" for="file">Choose a score</label> '
        '<input type="file" id="file" class="quiet"> or drop it on the strings</p>'
        '<p class="soft">MusicXML serves best. MIDI, MEI, Humdrum and ABC are read too.</p>'
        '<p id="said" role="status"></p></section>'
        f'<section class="trial" aria-label="Demo scores">{trial}</section>'
        f'<section id="kept" aria-label="Your scores">{shelf(works)}</section></main>'
        "<footer><p>Nothing leaves this machine. A draft is a proposal; it is settled when a "
        "harpist has played it.</p></footer>"), "home")


def shelf(works: Sequence[Work]) -> str:
    """The list of works that are kept."""
    if not works:
        return '<h2>Your scores</h2><p class="soft">None yet.</p>'
    rows = "".join(
        f'<li><a href="/works/{w.id}">{shown(w.title)}</a> '
        f'<span class="soft">{_how(w)}</span> <button class="small" data-remove="{w.id}" '
        f'aria-label="Remove {shown(w.title)}">Remove</button></li>'
        for w in works)
    return f'<h2>Your scores</h2><ol class="works">{rows}</ol>'


def _how(work: Work) -> str:
    job = work.told("job")
    if job.get("state") in RUNNING:
        return f"{_GOING_ON.get(str(job.get('kind')), 'At work')} &hellip;".lower()
    if job.get("state") == "failed":
        return "could not be done" if job.get("kind") != "read" else "cannot be read"
    made = [words for kind, words in (("draft", "draft made"), ("check", "checked"))
            if work.made(kind)]
    count = len(taken(work))
    chosen = [f"{count} {'choice' if count == 1 else 'choices'}"] if count else []
    return ", ".join([*made, *chosen]) or "not begun"


def trouble(words: str) -> str:
    """A page that says what went wrong and what to do."""
    return _page("Not here", f'<main><h1>Not here</h1><p class="lead">{shown(words)}</p>'
                 '<p><a href="/">To the first page</a></p></main>', "home")


def bench(work: Work) -> str:
    """The page of one work: the desk, and the score beside it."""
    title = shown(work.title)
    return _page(f"{title}: harp", (
        f'<header class="top"><a class="down" href="#sheet">The part</a>'
        f'<a href="/">All scores</a><h1>{title}</h1></header>'
        f'<div class="bench" data-work="{work.id}"><div id="desk" role="region" '
        f'aria-label="What to make of it">{desk(work)}</div>'
        '<main id="sheet" aria-label="What was made"><p id="empty" class="lead">'
        "Your harp part will stand here.</p></main></div>"), "work")


def standing(work: Work) -> dict[str, Any]:
    """How a work stands, for the script: what changes when the page must be drawn again."""
    job = work.told("job")
    return {"state": job.get("state", "done"), "kind": job.get("kind", ""),
            "title": plain(work.title), "said": _said(job), "stage": plain(job.get("stage", "")),
            "sheets": {kind: path.stat().st_mtime_ns
                       for kind in ("draft", "check") if (path := work.made(kind, "report.html"))}}


def _said(job: Mapping[str, Any]) -> str:
    """One sentence on how the job stands."""
    state, kind = job.get("state"), str(job.get("kind"))
    if state == "waiting":
        return f"{_GOING_ON.get(kind, 'Work')}: waiting for its turn"
    if state == "working":
        return _GOING_ON.get(kind, "At work")
    if state == "stopped":
        return "Stopped. Nothing was changed."
    if state == "failed":
        return str(job.get("why") or "This could not be done. Try again.")
    return {"convert": "The draft is made.", "check": "The part is checked.",
            "ways": "Other ways are listed.", "take": "Your choice is in the draft.",
            "leave": "The choice is taken back.",
            "undo": "The last change is undone."}.get(kind, "")


def desk(work: Work) -> str:
    """What changes on the page of a work: how it stands, what is asked, other ways, the files."""
    job, parts = work.told("job"), work.told("parts")
    body = [_progress(job)]
    if parts.get("parts"):
        body += [asked_for(work, parts), other_ways(work), taken_home(work)]
    elif job.get("state") not in RUNNING:
        body.append('<p><button class="main" data-ask="read">Read it again</button> or '
                    '<a href="/">lay another score</a></p>')
    return "".join(body)


def _progress(job: Mapping[str, Any]) -> str:
    going, failed = job.get("state") in RUNNING, job.get("state") == "failed"
    stop = '<button data-stop>Stop</button>' if going else ""
    stage = f'<span id="stage">{shown(job.get("stage", ""))}</span>' if going else ""
    kind = "going" if going else "grave" if failed else ""
    return (f'<div id="progress" class="{kind}"><p id="said" role="status">'
            f"{shown(_said(job))}</p>{'<div class=thread></div>' if going else ''}"
            f"<p>{stage} {stop}</p></div>")
