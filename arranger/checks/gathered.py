"""What is said again, word for word, in bars close together, said once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from arranger.model.diagnostic import Diagnostic

#: Bars from one place to the next within which the same words are said once (assumption).
NEAR = 2


def gathered(found: Sequence[Diagnostic]) -> list[Diagnostic]:
    """Join what is said again, word for word, of the next bars or the one after."""
    kept: list[Diagnostic] = []
    latest: dict[tuple[str, str, str], tuple[int, int]] = {}  # place in kept, bar said last
    again: dict[int, list[Diagnostic]] = {}
    for each in found:
        key = (each.code, each.severity, each.message)
        at, bar = latest.get(key, (-1, -9))
        if at >= 0 and each.where.bar_index - bar <= NEAR:
            again.setdefault(at, []).append(each)
        else:
            at = len(kept)
            kept.append(each)
        latest[key] = (at, each.where.bar_index)
    return [_joined(d, again[at]) if at in again else d for at, d in enumerate(kept)]


def _joined(first: Diagnostic, others: Sequence[Diagnostic]) -> Diagnostic:
    """One finding for several places; a remedy stays if every place has it."""
    titles = [{r.title: r for r in d.remedies} for d in others]
    remedies = tuple(
        replace(r, cost=sum(t[r.title].cost or 0 for t in titles) + (r.cost or 0),
                edits=tuple(dict.fromkeys(e for t in ({r.title: r}, *titles)
                                          for e in t[r.title].edits)))
        for r in first.remedies if all(r.title in t for t in titles))
    bars = [b for b in dict.fromkeys(d.where.bar for d in others) if b != first.where.bar]
    message = first.message
    if bars:
        message += f"; again in bar{'s' if len(bars) > 1 else ''} {', '.join(bars)}"
    notes = tuple(dict.fromkeys(n for d in (first, *others) for n in d.notes))
    again = tuple(where for d in others for where in (d.where, *d.again))
    return replace(first, message=message, notes=notes, remedies=remedies, again=again)
