"""Fidelity of a draft to its source (measures A), from notes read by the judge's own reader.

Grace notes are left out throughout. The melody is the skyline: at each source onset the highest
sounding note, where it is struck there; the bass likewise the lowest. Slices are cut at every
onset and offset of both scores and weigh by their length in quarter notes.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import combinations, pairwise
from typing import Any

import numpy as np

from tests.score_values import Note, joined

Sums = Counter[tuple[Fraction, int]]
#: 24 triads and the common sevenths, as semitones above the root.
TEMPLATES = ((0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 4, 7, 11), (0, 3, 7, 10), (0, 3, 6, 10),
             (0, 3, 6, 9))


@dataclass(frozen=True, slots=True)
class Slice:
    """What sounds between two neighbouring cuts: notes of the source and of the draft."""

    onset: Fraction
    length: Fraction
    source: tuple[Note, ...]
    draft: tuple[Note, ...]

    @property
    def source_pcs(self) -> frozenset[int]:
        """Pitch classes of the source."""
        return frozenset(n.midi % 12 for n in self.source)

    @property
    def draft_pcs(self) -> frozenset[int]:
        """Pitch classes of the draft."""
        return frozenset(n.midi % 12 for n in self.draft)


def attacks(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Notes that count in sums: graces out, duplicates of a part joined."""
    return joined(n for n in notes if not n.grace)


def sums(notes: Iterable[Note]) -> Sums:
    """Multiset of (onset, midi)."""
    return Counter((n.onset, n.midi) for n in notes)


def slices(source: Sequence[Note], draft: Sequence[Note]) -> list[Slice]:
    """Cut both scores at all their onsets and offsets."""
    cuts = sorted({t for n in (*source, *draft) for t in (n.onset, n.end)})
    found = []
    lists = [_sounding(source, cuts), _sounding(draft, cuts)]
    for i, (start, stop) in enumerate(pairwise(cuts)):
        found.append(Slice(start, stop - start, lists[0][i], lists[1][i]))
    return found


def _sounding(notes: Sequence[Note], cuts: list[Fraction]) -> list[tuple[Note, ...]]:
    """Notes that sound from each cut on."""
    starts: defaultdict[Fraction, list[Note]] = defaultdict(list)
    for note in notes:
        starts[note.onset].append(note)
    live: list[Note] = []
    found = []
    for cut in cuts:
        live = [n for n in live if n.end > cut] + [n for n in starts[cut] if n.end > cut]
        found.append(tuple(live))
    return found


def skyline(cut: Iterable[Slice], lowest: bool = False) -> list[tuple[Note, Slice]]:
    """Melody (or bass) notes: extreme of what sounds at an onset, and struck there."""
    found = []
    for here in cut:
        if here.source:
            note = _extreme(here.source, lowest)
            if note.onset == here.onset:
                found.append((note, here))
    return found


def _extreme(notes: Sequence[Note], lowest: bool) -> Note:
    """Lowest or highest note; of equals the one struck last."""
    return max(notes, key=lambda n: (-n.midi if lowest else n.midi, n.onset))


@cache
def chord_root(pcs: frozenset[int], bass: int) -> tuple[int, int, int | None]:
    """Best root of a sonority, its third and its seventh (pitch classes).

    Two points for each chord note present, one off for each missing and each foreign note; ties
    go to the root in the bass, then to the earlier template, then to the lower root.
    """
    def score(root: int, shape: tuple[int, ...]) -> tuple[int, bool, int, int]:
        tones = {(root + s) % 12 for s in shape}
        points = 2 * len(tones & pcs) - len(tones - pcs) - len(pcs - tones)
        return points, root == bass, -TEMPLATES.index(shape), -root
    root, shape = max(((r, t) for r in range(12) for t in TEMPLATES), key=lambda rt: score(*rt))
    seventh = (root + shape[3]) % 12 if len(shape) == 4 else None
    return root, (root + shape[1]) % 12, seventh


def note_rates(source: Sequence[Note], draft: Sequence[Note]) -> dict[str, float]:
    """A1: precision, recall and F, exact and octave-lenient (with the mean octaves moved).

    ``A1_R_sounds`` is the recall of distinct sounds: unisons of several parts count once.
    """
    n, m = sums(source), sums(draft)
    exact = (n & m).total()
    out = _prf("A1", exact, n.total(), m.total())
    by_class: defaultdict[tuple[Fraction, int], tuple[list[int], list[int]]]
    by_class = defaultdict(lambda: ([], []))
    for side, counted in enumerate((n, m)):
        for (onset, midi), times in counted.items():
            by_class[onset, midi % 12][side].extend([midi] * times)
    lenient, octaves = 0, 0
    for ours, theirs in by_class.values():
        lenient += min(len(ours), len(theirs))
        octaves += _octaves(ours, theirs)
    out |= _prf("A1_lenient", lenient, n.total(), m.total())
    out["A1_R_sounds"] = len(n.keys() & m.keys()) / len(n) if n else 1.0
    out["A1_octaves"] = octaves / lenient if lenient else 0.0
    return out


def _prf(name: str, match: int, wanted: int, given: int) -> dict[str, float]:
    precision = match / given if given else 1.0
    recall = match / wanted if wanted else 1.0
    both = precision + recall
    return {f"{name}_P": precision, f"{name}_R": recall,
            f"{name}_F": 2 * precision * recall / both if both else 0.0}


def _octaves(ours: list[int], theirs: list[int]) -> int:
    """Least octaves moved in a maximum matching of equal pitch classes (exact, by table)."""
    short, long = sorted((sorted(ours), sorted(theirs)), key=len)
    best = [0] + [10**9] * len(short)
    for other in long:
        for i in range(len(short), 0, -1):
            best[i] = min(best[i], best[i - 1] + abs(short[i - 1] - other) // 12)
    return best[len(short)]


def melody_and_bass(cut: Sequence[Slice]) -> dict[str, float]:
    """A2 and A3, by duration; contour by pairs."""
    tune = skyline(cut)
    kept = [n.duration for n, here in tune if _kept(n, here, lowest=False)]
    whole = sum(n.duration for n, _ in tune)
    bass = skyline(cut, lowest=True)
    weight = sum(n.duration for n, _ in bass)
    exact = sum(n.duration for n, here in bass if _kept(n, here, lowest=True))
    same_class = sum(n.duration for n, here in bass if _kept(n, here, lowest=True, octaves=True))
    return {"A2": float(sum(kept) / whole) if whole else 1.0, "A2_contour": _contour(tune),
            "A2_lost": float(len(tune) - len(kept)),
            "A3": float(same_class / weight) if weight else 1.0,
            "A3_exact": float(exact / weight) if weight else 1.0}


def _kept(note: Note, here: Slice, *, lowest: bool, octaves: bool = False) -> bool:
    if not here.draft:
        return False
    other = _extreme(here.draft, lowest)
    same = (other.midi - note.midi) % 12 == 0 if octaves else other.midi == note.midi
    return other.onset == note.onset and same


def _contour(tune: Sequence[tuple[Note, Slice]]) -> float:
    """Share of neighbouring melody notes whose interval keeps its sign in the draft's top."""
    def top(here: Slice) -> int | None:
        struck = [n.midi for n in here.draft if n.onset == here.onset]
        return max(struck, default=None)
    pairs = good = 0
    for (one, here), (two, there) in pairwise(tune):
        pairs += 1
        low, high = top(here), top(there)
        if low is not None and high is not None:
            good += np.sign(high - low) == np.sign(two.midi - one.midi)
    return good / pairs if pairs else 1.0


def harmony(cut: Sequence[Slice]) -> dict[str, float]:
    """A4 recall and precision of pitch classes, A5 thirds and sevenths kept."""
    common = wanted = given = Fraction(0)
    chords = good = 0
    for here in cut:
        ours, theirs = here.source_pcs, here.draft_pcs
        common += here.length * len(ours & theirs)
        wanted += here.length * len(ours)
        given += here.length * len(theirs)
        if len(ours) >= 3:
            _, third, seventh = chord_root(ours, _extreme(here.source, True).midi % 12)
            telling = {third, seventh} & ours
            if telling:
                chords += 1
                good += telling <= theirs
    return {"A4_recall": float(common / wanted) if wanted else 1.0,
            "A4_precision": float(common / given) if given else 1.0,
            "A5": good / chords if chords else 1.0}


def centroid_distance(cut: Sequence[Slice]) -> float:
    """A6: mean distance of tonal centroids over slices where the source sounds (Harte 2006)."""
    distances = [float(np.linalg.norm(_centroid(here.source) - _centroid(here.draft)))
                 for here in cut if here.source]
    return float(np.mean(distances)) if distances else 0.0


def _centroid(notes: Sequence[Note]) -> np.ndarray:
    if not notes:
        return np.zeros(6)
    return sum((_CIRCLES[:, n.midi % 12] for n in notes), np.zeros(6)) / len(notes)


_CIRCLES = np.array([[r * f(angle * pc) for pc in range(12)]
                     for r, angle in ((1, 7 * math.pi / 6), (1, 3 * math.pi / 2),
                                      (0.5, 2 * math.pi / 3)) for f in (math.sin, math.cos)])


def tension(cut: Sequence[Slice]) -> float | None:
    """A7: correlation of the cloud diameters in the spiral array; None if either is flat."""
    both = [here for here in cut if here.source and here.draft]
    series = [[_diameter(frozenset(n.line_of_fifths for n in side)) for side in sides]
              for sides in zip(*((h.source, h.draft) for h in both), strict=True)]
    if not both or any(np.ptp(s) < 1e-12 for s in series):
        return None
    return float(np.corrcoef(series[0], series[1])[0, 1])


@cache
def _diameter(fifths: frozenset[int]) -> float:
    height = math.sqrt(2 / 15)
    return max((math.sqrt(2 - 2 * math.cos((a - b) * math.pi / 2) + ((a - b) * height) ** 2)
                for a, b in combinations(fifths, 2)), default=0.0)


def rhythm_and_density(source: Sequence[Note], draft: Sequence[Note]) -> dict[str, float]:
    """A8 onsets kept and false ones; A9 log2 ratios of note rate and of polyphony."""
    ours, theirs = {n.onset for n in source}, {n.onset for n in draft}
    length = sum(n.duration for n in source), sum(n.duration for n in draft)
    return {"A8": len(ours & theirs) / len(ours) if ours else 1.0,
            "A8_false": len(theirs - ours) / len(theirs) if theirs else 0.0,
            "A9_rate": math.log2(len(draft) / len(source)) if source and draft else 0.0,
            "A9_polyphony": math.log2(length[1] / length[0]) if all(length) else 0.0}


def symbol_distance(source: Sequence[Note], draft: Sequence[Note]) -> float:
    """A10, the cheap form: unmatched symbols (onset, length, spelling) over symbols in both."""
    ours, theirs = (Counter((n.onset, n.duration, n.name) for n in side)
                    for side in (source, draft))
    both = ours.total() + theirs.total()
    return ((ours - theirs).total() + (theirs - ours).total()) / both if both else 0.0


def ledger_closure(source: Sequence[Note], draft: Sequence[Note],
                   ledger: Iterable[Mapping[str, Any]]) -> dict[str, float]:
    """A11: source - before + after must be the draft, each difference explained once.

    ``A11`` is 1 - unexplained / max(1, differences); ``A11_closed`` is 1 only if nothing is left
    over, no entry takes away what the source has not, and no note is taken away twice (entries
    that change no sum, such as hand and respell, may name a note together).
    """
    ours, theirs = sums(source), sums(draft)
    before: Sums = Counter()
    after: Sums = Counter()
    ids: Counter[str] = Counter()
    for entry in ledger:
        taken, given = (Counter((Fraction(n["onset"]), int(n["midi"])) for n in entry[side]
                                if not (n.get("grace") or entry.get("grace")))
                        for side in ("before", "after"))
        before += taken - given
        after += given - taken
        if taken != given:
            ids.update(n["id"] for n in entry["before"] if n.get("id"))
    explained = Counter(ours)
    explained.subtract(before)
    explained.update(after)
    left = sum(abs(explained[key] - theirs[key]) for key in explained.keys() | theirs.keys())
    differences = (ours - theirs).total() + (theirs - ours).total()
    closed = left == 0 and not before - ours and all(v == 1 for v in ids.values())
    return {"A11": max(0.0, 1 - left / max(1, differences)), "A11_closed": float(closed),
            "differences": float(differences)}


def doublings(source: Sequence[Note], draft: Sequence[Note]) -> dict[str, float]:
    """Share kept of the source notes whose pitch class sounds in another octave at the onset."""
    left = sums(draft)
    total = kept = 0
    for note, around in _with_company(source):
        if _doubled(note, around):
            total += 1
            if left[note.onset, note.midi] > 0:
                left[note.onset, note.midi] -= 1
                kept += 1
    return {"doublings_kept": kept / total if total else 1.0, "doublings": float(total)}


def _with_company(notes: Sequence[Note]) -> list[tuple[Note, tuple[Note, ...]]]:
    """Each note with all that sounds at its onset."""
    cuts = sorted({n.onset for n in notes})
    at = dict(zip(cuts, _sounding(notes, cuts), strict=True))
    return [(n, at[n.onset]) for n in notes]


def _doubled(note: Note, around: Iterable[Note]) -> bool:
    return any(o.midi != note.midi and (o.midi - note.midi) % 12 == 0 for o in around)


def roles(notes: Sequence[Note]) -> list[tuple[Note, str]]:
    """Role of every note: melody, bass, doubling, third-seventh or other, the first that fits."""
    found = []
    for note, around in _with_company(notes):
        if note is _extreme(around, False):
            role = "melody"
        elif note is _extreme(around, True):
            role = "bass"
        elif _doubled(note, around):
            role = "doubling"
        else:
            pcs = frozenset(n.midi % 12 for n in around)
            _, third, seventh = chord_root(pcs, _extreme(around, True).midi % 12)
            role = "third-seventh" if note.midi % 12 in (third, seventh) else "other"
        found.append((note, role))
    return found


def hand_chords(notes: Iterable[Note]) -> dict[tuple[Fraction, str], list[Note]]:
    """Attacks of a hand (upper staff R, else L) with at least two strings."""
    found: defaultdict[tuple[Fraction, str], list[Note]] = defaultdict(list)
    for note in notes:
        if not note.grace:
            found[note.onset, "R" if note.staff == 1 else "L"].append(note)
    return {k: v for k, v in found.items() if len({n.position for n in v}) > 1}


def rolls(source: Iterable[Note], draft: Iterable[Note], span: int = 9) -> dict[str, float]:
    """Rolls the draft adds per 100 chords, and how many of them lie within the span.

    A roll is added if no note of the hand's chord was marked to be rolled in the source.
    """
    marked = {(n.onset, n.midi) for n in source if n.arpeggiate}
    chords = hand_chords(draft)
    added = [notes for notes in chords.values() if all(n.arpeggiate for n in notes)
             and not any((n.onset, n.midi) in marked for n in notes)]
    within = sum(max(n.position for n in notes) - min(n.position for n in notes) <= span
                 for notes in added)
    return {"rolls_added": 100 * len(added) / len(chords) if chords else 0.0,
            "rolls_within_tenth": float(within), "chords": float(len(chords))}


def fidelity(source: Iterable[Note], draft: Iterable[Note],
             ledger: Iterable[Mapping[str, Any]] | None = None) -> dict[str, float | None]:
    """All measures A for one file (raw notes of the arranged parts and of the harp)."""
    raw_source, raw_draft = list(source), list(draft)
    ours, theirs = attacks(raw_source), attacks(raw_draft)
    cut = slices(ours, theirs)
    out: dict[str, float | None] = {**note_rates(ours, theirs), **melody_and_bass(cut),
                                    **harmony(cut), "A6": centroid_distance(cut),
                                    "A7": tension(cut), **rhythm_and_density(ours, theirs),
                                    "A10": symbol_distance(ours, theirs),
                                    **doublings(ours, theirs), **rolls(raw_source, raw_draft)}
    if ledger is not None:
        out |= ledger_closure(ours, theirs, ledger)
    return out
