"""The summary that is printed after a run, written for a harpist."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from arranger.model.harp import LEFT_FOOT, PEDALS, pedal_word
from arranger.model.score import bar_name
from arranger.report.wording import (
    CAUTION,
    SEVERITIES,
    Entry,
    bars,
    by_kind,
    key_words,
    message,
    note_label,
    place,
    plain,
    settings_words,
    tuning_advice,
    tuning_words,
    verdict,
    wrapped,
)

#: Findings told one by one before the rest is only counted.
MOST_TOLD = 8
#: Share and number of notes left out from which a second harp is thought of (assumption).
_MUCH, _MANY = 0.05, 10


def text(report: Mapping[str, Any]) -> str:
    """Return the terminal summary of one ``report.json`` object, lines of at most 80 signs."""
    lines: list[str] = []
    lines += wrapped(f"{plain(report['source']['file'])}: {verdict(report)}", "")
    lines += wrapped(f"Made for {settings_words(report['settings'])}.", "")
    for remark in report.get("remarks", ()):
        lines += wrapped(plain(remark), "")
    if "ledger" in report:
        lines += ["", *_alterations(report["ledger"], len(report["notes"]))]
        lost = sum(entry["kind"] == "drop" for entry in report["ledger"])
        if lost > max(_MANY, _MUCH * len(report["notes"])) and "pedals" in report:
            lines += wrapped("  Two harps may keep more: arranger ensemble --harps 2", "  ")
    if "pedals" in report:
        lines += ["", *_pedals(report["pedals"])]
    if report.get("damping"):
        lines += ["", *_damping(report["damping"])]
    if report.get("levers", {}).get("opening"):
        lines += ["", *_levers(report["levers"])]
    if report.get("choices"):
        lines += ["", *_choices(report["choices"])]
    lines += ["", *_findings(report["findings"])]
    lines += ["", *wrapped(CAUTION, "")]
    return "\n".join(lines) + "\n"


def _columns(first: str, second: str, width: int) -> list[str]:
    """Set one row of two columns; the second one is wrapped under itself."""
    return wrapped(f"  {first:<{width}}  {second}", " " * (width + 4))


def _alterations(ledger: Sequence[Entry], notes: int) -> Iterator[str]:
    if not ledger:
        yield "Alterations: none; the source can be played as it is written."
        return
    yield f"Alterations: {len(ledger)}, in a draft of {notes} notes"
    groups = [(f"{len(entries):>3} {words}", entries) for words, entries in by_kind(ledger)]
    width = max(len(head) for head, _ in groups)
    for head, entries in groups:
        yield from _columns(head, bars(entries), width)


def _choices(choices: Mapping[str, Any]) -> Iterator[str]:
    """What became of the arranger's choices."""
    missed = (*choices["not_kept"], *choices["not_found"])
    yield f"Choices kept: {len(choices['kept'])} of {len(choices['kept']) + len(missed)}"
    for line in (*missed, *choices["moved"]):
        yield from wrapped(f"  {line}", "  ")


def _pedals(pedals: Mapping[str, Any]) -> Iterator[str]:
    words = [pedal_word(step, pedals["opening"][step]).rstrip("♮") for step in PEDALS]
    feet = len(LEFT_FOOT)
    moves = pedals["moves"]
    yield "Pedals"
    yield f"  start with  {' '.join(words[:feet])} | {' '.join(words[feet:])}"
    if tuning_words(pedals):
        yield from wrapped(f"  {tuning_words(pedals)}", "  ")
    if not moves:
        yield "  moves       none"
        return
    first, count = _busiest(moves)
    double = sum(abs(m["to"] - m["from"]) == 2 for m in moves)
    busiest = f"; most in {bar_name(plain(first['bar']))} ({count})"
    through = f", {double} of two notches" if double else ""
    yield from _columns("moves     ", f"{len(moves)}{through}{busiest}", 10)


def _levers(levers: Mapping[str, Any]) -> Iterator[str]:
    yield "Levers"
    yield from _columns("start with", plain(levers["words"]), 10)
    if key_words(levers):
        yield from _columns("keys      ", key_words(levers), 10)
    if tuning_advice(levers):
        yield from _columns("tunings   ", tuning_advice(levers), 10)
    moves = levers["moves"]
    if not moves:
        yield "  moves       none"
        return
    first, count = _busiest(moves)
    yield from _columns("moves     ",
                        f"{len(moves)}; most in {bar_name(plain(first['bar']))} ({count})", 10)


def _damping(damps: Sequence[Entry]) -> Iterator[str]:
    """Say how often a hand is to damp strings, and where first."""
    first = damps[0]
    names = ", ".join(note_label(str(s)) for s in first["strings"])
    more = f", {len(damps)} marks in all" if len(damps) > 1 else ""
    yield "Damping"
    hand = "left" if first["hand"] == "L" else "right"
    why = ("would ring on into another harmony" if first["rule"] == "R2"
           else "would be heard as the pedal moves")
    yield from wrapped(f"  {place(first)}: {names} {why} and the {hand} hand is free{more}", "  ")


def _busiest(moves: Sequence[Entry]) -> tuple[Entry, int]:
    """Return the first move of the bar with the most moves, and how many it has."""
    counts = Counter(_bar_key(m) for m in moves)
    first = max(moves, key=lambda m: counts[_bar_key(m)])
    return first, counts[_bar_key(first)]


def _bar_key(entry: Entry) -> object:
    return entry.get("bar_index", entry["bar"])


def _findings(findings: Sequence[Entry]) -> Iterator[str]:
    if not findings:
        yield "Findings: none."
        return
    for severity, words in SEVERITIES.items():
        some = [f for f in findings if f["severity"] == severity]
        if some:
            yield f"{words.capitalize()}: {len(some)}"
            yield from _told(some) if severity == "error" else _counted(some)


def _told(errors: Sequence[Entry]) -> Iterator[str]:
    width = max(len(place(f)) for f in errors[:MOST_TOLD])
    for finding in errors[:MOST_TOLD]:
        yield from _columns(place(finding), message(finding), width)
    if len(errors) > MOST_TOLD:
        yield f"  and {len(errors) - MOST_TOLD} more, all listed in the report"


def _counted(findings: Sequence[Entry]) -> Iterator[str]:
    groups: dict[tuple[str, str], list[Entry]] = defaultdict(list)
    for finding in findings:
        groups[plain(finding["code"]), plain(finding["name"])].append(finding)
    rows = [(f"{len(some):>3} {name.replace('-', ' ')} ({code})", some)
            for (code, name), some in groups.items()]
    width = max(len(head) for head, _ in rows)
    for head, some in rows:
        yield from _columns(head, bars(some), width)
