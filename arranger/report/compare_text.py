"""What a comparison prints: a sentence on the whole, what was changed, what came of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from arranger.model.score import bar_name
from arranger.report.wording import (
    bars,
    beat_words,
    note_label,
    place,
    plain,
    settings_words,
    wrapped,
)

_KINDS = {"error": ("error", "errors"), "warning": ("warning", "warnings"),
          "advice": ("piece of advice", "pieces of advice")}
_NAMES = {"error": "errors", "warning": "warnings", "advice": "advice"}


def compare_text(report: Mapping[str, Any]) -> str:
    """Return lines of at most 80 signs."""
    line = report["summary"]["line"]
    lines = wrapped(f"{plain(report['source']['file'])} and {plain(report['newer']['file'])}: "
                  f"{line}.", "")
    lines += wrapped(f"Judged for {settings_words(report['settings'])}.", "")
    lines += _tempi(report)
    told = [*_of_bars(report["bars"]), *(_change(c) for c in report["changes"])]
    if told:
        lines += ["", "Changed"]
        for one in told:
            lines += wrapped(f"  {one}.", "      ")
    for state, head in (("went", "Findings that are gone"), ("came", "Findings that are new")):
        some = [f for f in report["findings"] if f["state"] == state]
        if some:
            where = " (bars of the older edition)" if state == "went" else ""
            lines += ["", head + where]
            for f in some:
                lines += wrapped(f"  {place(f)}: {plain(f['message'])} ({f['code']}, "
                               f"{f['severity']}).", "      ")
    stayed = [f for f in report["findings"] if f["state"] == "stayed"]
    if stayed:
        lines += ["", *wrapped(f"As before: {_counted(stayed)}, in {bars(stayed)}.", "  ")]
    return "\n".join(lines) + "\n"


def summary_line(report: Mapping[str, Any]) -> str:
    """Say on the whole what was changed, how many findings went or came, and where they came."""
    summary, findings = report["summary"], report["findings"]
    parts = [_count(summary[f"bars_{what}"], "bar", "bars") + f" {words}"
             for what, words in (("inserted", "put in"), ("removed", "taken out"))
             if summary[f"bars_{what}"]]
    if number := sum(summary["changes"].values()):
        parts.append(_count(number, "change", "changes") + " to notes and marks")
    written = ", ".join(parts)
    moved = [told for severity in _KINDS if (told := _moved(severity, summary, findings))]
    if not written and not moved:
        return "nothing changed" if _same_tempi(report) else "only the tempo changed"
    return "; ".join(filter(None, (
        written or "no note changed",
        ("the new edition has " + ", ".join(moved)) if moved else "no finding went or came")))


def _moved(severity: str, summary: Mapping[str, Any],
           findings: Sequence[Mapping[str, Any]]) -> str:
    """``3 errors fewer, 1 new in bar 12``: the difference, and where new ones are."""
    counts = summary[_NAMES[severity]]
    change = counts["after"] - counts["before"]
    came = [f for f in findings if f["state"] == "came" and f["severity"] == severity]
    went = any(f["state"] == "went" and f["severity"] == severity for f in findings)
    if not came and not went:
        return ""
    words = _count(abs(change), *_KINDS[severity]) if change else f"as many {_KINDS[severity][1]}"
    told = f"{words} {'fewer' if change < 0 else 'more' if change else 'as before'}"
    if not came:
        return told
    return f"{told} ({'' if change == len(came) else f'{len(came)} new '}in {bars(came)})"


def _same_tempi(report: Mapping[str, Any]) -> bool:
    limits = report["tempo_limits"]
    return bool(limits["before"] == limits["after"]
                and report["source"]["tempo"] == report["newer"]["tempo"])


def _tempi(report: Mapping[str, Any]) -> Iterator[str]:
    """Say how fast it goes, before and after where that differs."""
    old, new = report["source"]["tempo"], report["newer"]["tempo"]
    if old != new:
        yield from wrapped(f"Opening tempo: crotchet {old} before, {new} now.", "  ")
    before, after = (report["tempo_limits"][k][:1] or ["no limit found"]
                     for k in ("before", "after"))
    if report["tempo_limits"]["before"] == report["tempo_limits"]["after"]:
        yield from wrapped(f"Tempo limit as before: {plain(after[0])}.", "  ")
    else:
        yield from wrapped(f"Tempo limit before: {plain(before[0])}.", "  ")
        yield from wrapped(f"Tempo limit now: {plain(after[0])}.", "  ")


def _of_bars(told: Mapping[str, Sequence[Mapping[str, Any]]]) -> Iterator[str]:
    for what, words in (("removed", "taken out, as numbered before"), ("inserted", "put in")):
        if some := told[what]:
            number = sum(b["notes"] for b in some)
            yield f"{bars(some)} {words} ({_count(number, 'note', 'notes')})"


def _change(change: Mapping[str, Any]) -> str:
    old, new = change["old"], change["new"]
    here = new or old
    was = f" ({bar_name(plain(old['bar']))} before)" if old and here["bar"] != old["bar"] else ""
    where = f"{bar_name(plain(here['bar']))}{was}, beat {beat_words(here['beat'])}"
    name, before, after = (note_label(change["name"]), _label(change["before"]),
                           _label(change["after"]))
    match change["kind"]:
        case "added":
            what = f"{name} added"
        case "removed":
            what = f"{name} taken away"
        case "string":
            what = f"{before} now on the string of {after}, the same sound"
        case "hand":
            what = f"{name} from the {before} hand to the {after} (by its staff)"
        case "finger":
            what = (f"{name}: finger {before} now {after}" if before and after else
                    f"{name}: finger {after} written" if after else
                    f"{name}: finger {before} no longer written")
        case "length":
            what = f"{name}: length {before} now {after} crotchets"
        case "signs":
            what = f"{name}: signs {before or 'none'}, now {after or 'none'}"
        case kind:
            mark = f"{kind.removesuffix('s')} mark"
            what = (f"{mark} {before} now {after}" if before and after else
                    f"{mark} {after} added" if after else f"{mark} {before} taken away")
    return f"{where}: {what}"


def _label(words: str) -> str:
    """Proper signs for names of notes, pedals and levers; other words stay."""
    return " ".join(note_label(w) if w[-1:].isdigit() else
                    w.replace("#", "♯").replace("b", "♭") if len(w) < 4 and w[:1].isupper() else
                    plain(w) for w in words.split())


def _counted(findings: Sequence[Mapping[str, Any]]) -> str:
    counts = Counter(f["severity"] for f in findings)
    return ", ".join(_count(counts[s], *words) for s, words in _KINDS.items() if counts[s])


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
