"""What a check prints: the summary, then every finding with its source and what would work."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from arranger.model.score import bar_name
from arranger.report.wording import beat_words, plain, settings_words, wrapped

_HEADS = {"error": "Cannot be played", "warning": "Against the idiom", "advice": "Advice"}
_MOST_SETS = 6  # groups of notes told of one bar
_MOST_TEMPI = 3  # sentences about the tempo
_STAVES = {1: ", upper staff", 2: ", lower staff"}


def check_text(report: Mapping[str, Any], advice: bool = True) -> str:
    """Return the summary and the findings, lines of at most 80 signs.

    ``advice``: tell advice too, else only count it.
    """
    lines = wrapped(f"{plain(report['source']['file'])}: {plain(report['summary']['line'])}", "")
    lines += wrapped(f"Judged for {settings_words(report['settings'])}.", "")
    lines += _tempi(report["tempo_limits"]["told"], report["settings"].get("tempo_assumed"))
    for severity, head in _HEADS.items():
        some = [f for f in report["findings"] if f["severity"] == severity]
        if some and (advice or severity != "advice"):
            lines += ["", head]
            for finding in some:
                lines += _told(finding)
            if severity == "error":
                lines += _conflicts(report["conflicts"])
    return "\n".join(lines) + "\n"


def _tempi(told: Sequence[str], assumed: bool | None) -> Iterator[str]:
    """Say how fast it goes; of many slow passages the slowest."""
    shown = [f"{plain(t)}." for t in told[:_MOST_TEMPI]]
    if len(told) > _MOST_TEMPI:
        more = len(told) - _MOST_TEMPI
        shown.append(f"{more} more passage{'s' if more > 1 else ''} cannot keep the "
                     f"{'assumed' if assumed else 'written'} tempo either.")
    for line in shown:
        yield from wrapped(f"Tempo: {line}", "       ")


def _conflicts(conflicts: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Say of every bar that cannot be played which notes exclude one another."""
    told = [(bar, sets) for bar in conflicts if (sets := [
        " + ".join(map(plain, one["named"])) for one in bar["sets"] if len(one["notes"]) > 1])]
    if told:
        yield from ("", "Notes that exclude one another: of each group at least one has to change")
    for bar, sets in told:
        some = sets[:_MOST_SETS]
        more = len(sets) - len(some)
        rest = "; and others" if not bar["complete"] else f"; and {more} more" if more else ""
        yield from wrapped(f"  {bar_name(plain(bar['bar']))}: {'; '.join(some)}{rest}", "      ")


def _told(finding: Mapping[str, Any]) -> Iterator[str]:
    staff = _STAVES.get(finding["staff"] or 0, "")
    beat = beat_words(finding["beat"])
    yield from wrapped(f"  {bar_name(plain(finding['bar']))}, beat {beat}{staff}: "
                     f"{plain(finding['message'])}.", "      ")
    for remedy in finding["remedies"]:
        yield from wrapped(f"      instead: {plain(remedy['title'])}", "        ")
    yield from wrapped(f"      ({finding['code']}; {plain(finding['source'])})", "       ")
