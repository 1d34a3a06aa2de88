"""Where a texture does not play as written, try its idiomatic versions and keep what is cheaper.

Nothing is rewritten that is already playable: a version is tried only where the plan of the draft
as it is loses notes of the texture or strikes one string again too soon.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote
from arranger.model.score import NoteId
from arranger.passes.settings import Settings
from arranger.plan.roles import roles
from arranger.plan.slices import clock, slices
from arranger.plan.textures import Texture, textures
from arranger.plan.versions import Field, Version, apply, versions
from arranger.plan.worth import worth
from arranger.rulebook.textures import load_texture_numbers

#: Plans a draft: the arranged draft and its price, with all losses.
Solve = Callable[[Draft], tuple[Draft, int]]


@dataclass(frozen=True, slots=True)
class Improved:
    """The draft to plan, versions taken with their gain, and what was looked at."""

    draft: Draft
    taken: tuple[tuple[Version, int], ...] = ()
    textures: tuple[Texture, ...] = ()
    troubled: tuple[Texture, ...] = ()
    offered: int = 0


def improve(draft: Draft, solve: Solve, settings: Settings,
            planned: tuple[Draft, int] | None = None) -> Improved:
    """Return the draft with the versions that are cheaper by more than their own price.

    ``planned`` is ``solve(draft)``, if it is known already. Versions are weighed in a window
    around the texture; what is taken must then prove cheaper over the whole piece.
    """
    numbers = load_texture_numbers()
    found = textures(draft, numbers, settings.player.span_steps)
    if not found:
        return Improved(draft)
    played, price = planned or solve(draft)
    field = Field(draft.notes, roles(draft.notes), settings.harp, settings.prices,
                  frozenset(settings.pins.notes))
    troubled = _troubled(found, played, field, settings, numbers["most_textures"])
    chosen: list[tuple[Version, int]] = []
    touched: set[NoteId] = set()
    offered = 0
    for texture in troubled:
        offers = [v for v in versions(texture, field) if not v.notes & touched]
        offered += len(offers)
        best = _best(offers, _window(draft, texture, numbers), solve) if offers else None
        if best:
            chosen.append(best)
            touched |= best[0].notes
    chosen = _proved(draft, sorted(chosen, key=lambda c: -c[1]), price, solve)
    for version, _ in chosen:
        draft = apply(version, draft)
    return Improved(draft, tuple(chosen), found, troubled, offered)


def _troubled(found: Sequence[Texture], played: Draft, field: Field, settings: Settings,
              most: int) -> tuple[Texture, ...]:
    """Textures with losses or too fast strokes on one string, the dearest first."""
    there = {n.id: n for n in played.notes}
    rushed = _rushed(played, settings.player.restrike_warning_seconds)
    weights: list[tuple[int, Texture]] = []
    for texture in found:
        loss = sum(worth(n, field.roles[n.id], field.prices).drop for n in texture.notes
                   if n.id not in there or there[n.id].pitch.midi != n.pitch.midi)
        loss += field.prices["restrike"] * len(rushed & texture.ids)
        if loss:
            weights.append((loss, texture))
    return tuple(t for _, t in sorted(weights, key=lambda w: -w[0])[:most])


def _rushed(played: Draft, limit: float) -> frozenset[NoteId]:
    """Notes struck on a string that was struck less than ``limit`` seconds before."""
    strings: dict[int, list[tuple[float, HarpNote]]] = {}
    for here in slices([n for n in played.notes if not n.source.grace], played.source.tempo):
        for note in here.notes:
            strings.setdefault(note.string.position, []).append((here.seconds, note))
    return frozenset(after.id for row in strings.values()
                     for (a, _), (b, after) in pairwise(row) if b - a < limit - 1e-6)


def _window(draft: Draft, texture: Texture, numbers: Mapping[str, int]) -> Draft:
    """The notes around a texture, up to a calm place or so many slices on each side."""
    onsets = sorted({n.onset for n in draft.notes})
    times = clock(draft.source.tempo, onsets)
    calm, most = numbers["calm_gap"] / 1000, numbers["calm_slices"]
    first, last = onsets.index(texture.start), onsets.index(texture.last)
    low, high = max(first - most, 0), min(last + most, len(onsets) - 1)
    while first > low and times[first] - times[first - 1] < calm:
        first -= 1
    while last < high and times[last + 1] - times[last] < calm:
        last += 1
    return replace(draft, notes=tuple(n for n in draft.notes
                                      if onsets[first] <= n.onset <= onsets[last]))


def _best(offers: Sequence[Version], window: Draft, solve: Solve) -> tuple[Version, int] | None:
    """The version that gains most over the window as it is, with its gain; None if none does."""
    _, before = solve(window)
    best: tuple[Version, int] | None = None
    for version in offers:
        if version.price + (best[1] if best else 0) >= before:
            continue  # even a plan without any price would not make up for it
        gain = before - version.price - solve(apply(version, window))[1]
        if gain > (best[1] if best else 0):
            best = version, gain
    return best


def _proved(draft: Draft, chosen: list[tuple[Version, int]], price: int,
            solve: Solve) -> list[tuple[Version, int]]:
    """The best half, again and again, until what is taken is cheaper over the whole piece."""
    while chosen:
        changed = draft
        for version, _ in chosen:
            changed = apply(version, changed)
        if solve(changed)[1] + sum(v.price for v, _ in chosen) < price:
            return chosen
        chosen = chosen[:len(chosen) // 2]
    return chosen
