"""Measure the arranger over a folder of scores: ``python -m tests.evaluate FOLDER``.

Every score is converted by the command line in a process of its own; what it wrote is read by the
judge's own reader and simulator. Figures are measures A-D and the comfort profile. A file
that fails is a row with its error.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from fractions import Fraction
from pathlib import Path
from typing import Any

from tests import metrics_comfort as comfort
from tests.metrics_fidelity import attacks, fidelity, sums
from tests.metrics_hands import comfort as all_of_comfort
from tests.score_reading import read_score
from tests.score_values import Note, Score
from tests.simulation_result import HARD
from tests.simulator import hand, simulate

ROOT = Path(__file__).parents[1]
#: The checkout that converts; another one serves as a baseline (``--program``).
PROGRAM = "ARRANGER_MEASURED"
#: Options of ``convert`` besides.
EXTRA = "ARRANGER_EVALUATE_EXTRA"
HARP_DATA = ROOT.parent / "shared" / "data" / "harp"
SUFFIXES = (".musicxml", ".xml", ".mxl")
TIMEOUT = 900
Row = dict[str, Any]
#: Columns of the printed table: heading, key, format.
COLUMNS = (("notes", "notes", "5.0f"), ("A1P", "A1_P", "6.3f"), ("A1R", "A1_R", "6.3f"),
           ("tune", "A2", "6.3f"), ("bass", "A3", "6.3f"), ("A4r", "A4_recall", "6.3f"),
           ("A4p", "A4_precision", "6.3f"), ("3+7", "A5", "6.3f"),
           ("dbl", "doublings_kept", "6.3f"), ("A8", "A8", "6.3f"),
           ("roll%", "rolls_added", "6.1f"),
           ("<10th", "rolls_within_tenth", "5.0f"), ("closed", "A11_closed", "6.0f"),
           ("B", "violations", "4.0f"), ("B5c", "B5c", "4.0f"), ("held", "W-held", "4.0f"),
           ("early", "W-held-early", "5.0f"),
           ("mv/bar", "C2_mean", "6.2f"), ("C1", "C1", "6.3f"), ("D3", "D3", "6.3f"),
           ("D4", "D4", "6.3f"), ("rep", "report_differs", "4.0f"),
           ("xsd", "schema", "4.0f"), ("sec", "seconds", "6.1f"))


class RunError(Exception):
    """The tool wrote no draft; the message is its last line."""


def convert(source: Path, folder: Path, extra: Sequence[str] = ()) -> tuple[int, float]:
    """Run ``arranger convert`` and return its exit status and the seconds it took."""
    command = [sys.executable, "-m", "arranger", "convert", str(source.resolve()), "-o",
               str(folder.resolve()), *extra, *os.environ.get(EXTRA, "").split()]
    program = os.environ.get(PROGRAM, str(ROOT))
    start = time.monotonic()
    try:
        run = subprocess.run(command, capture_output=True, text=True, timeout=TIMEOUT,
                             cwd=program, env={**os.environ, "PYTHONPATH": program}, check=False)
    except subprocess.TimeoutExpired as error:
        raise RunError(f"no answer after {TIMEOUT} s") from error
    if not (folder / "draft.musicxml").exists() or not (folder / "report.json").exists():
        lines = run.stderr.strip().splitlines() or ["no message"]
        raise RunError(f"exit {run.returncode}: {lines[-1]}")
    return run.returncode, time.monotonic() - start


def evaluate(path: Path, *, twice: bool = False, again: bool = False, baseline: bool = False,
             all_parts: bool = False) -> Row:
    """One row: convert a score and measure what was written."""
    row: Row = {"file": path.name}
    try:
        with tempfile.TemporaryDirectory() as folder:
            row |= _measure(path, Path(folder), twice=twice, again=again, all_parts=all_parts)
            if baseline:
                row["baseline"] = _as_written(path, row["parts"])
    except Exception as error:  # a row, never a crash
        row["error"] = f"{type(error).__name__}: {error}".splitlines()[0][:200]
    return row


def _measure(path: Path, folder: Path, *, twice: bool, again: bool, all_parts: bool) -> Row:
    ids = [part for part, _ in read_score(path).parts] if all_parts else []
    chosen = [word for part in ids for word in ("--part", part)]
    status, seconds = convert(path, folder / "one", chosen)
    report = json.loads((folder / "one" / "report.json").read_text())
    written = (folder / "one" / "draft.musicxml").read_bytes()
    source, draft = read_score(path), read_score(written)
    ours = source_notes(source, report)
    theirs = list(draft.part_notes([draft.part_id("Harp")]))
    draft = _at_tempo(draft, report)
    result = simulate(draft)
    bpm, base = float(source.tempo[0][1]), sum(not n.grace for n in ours)
    row: Row = {"exit": status, "seconds": seconds, "notes": base,
                "parts": report["source"]["parts"],
                **fidelity(ours, theirs, report["ledger"]),
                **all_of_comfort(ours, theirs, draft, result),
                "gap": _gap(report), "profile_source": comfort.comfort_profile(ours, bpm),
                "profile_draft": comfort.comfort_profile(theirs, bpm, per=base),
                "findings": Counter(f["severity"] for f in report["findings"]),
                "violation_list": [str(f) for f in result.of(*HARD)][:40],
                **_agreement(report, theirs, result.written_moves),
                **_changes(ours, theirs, source), **_schema(written)}
    if twice:
        convert(path, folder / "two", chosen)
        row["same_bytes"] = _same_files(folder / "one", folder / "two")
    if again:
        row |= _again(folder / "one" / "draft.musicxml", folder / "again", report, theirs)
    return row


def source_notes(score: Score, report: Mapping[str, Any]) -> list[Note]:
    """Notes of the arranged parts; where a name is shared, ids in the report decide."""
    named = report["source"].get("part_ids") or report["source"]["parts"]
    return list(score.part_notes(named)) if any(named) else list(score.notes)


def _at_tempo(draft: Score, report: Mapping[str, Any]) -> Score:
    """The draft at the tempo the tool assumed, where none is written."""
    given = report["settings"].get("tempo")
    return draft.scaled(Fraction(given)) if draft.tempo_assumed and given else draft


def _gap(report: Mapping[str, Any]) -> float:
    """E1: the part of the cheapest plan's price that is not proved to be needed."""
    total: int = report["cost"]["total"] - report.get("stays", 0)
    return max(0, total - report["bound"]) / total if total else 0.0


def _agreement(report: Mapping[str, Any], theirs: Iterable[Note],
               moves: Iterable[Any]) -> dict[str, float]:
    """Whether report.json and the written part tell the same notes and moves."""
    told = {(Fraction(n["onset"]), n["midi"], n["string"], n["hand"])
            for n in report["notes"] if not n["grace"]}
    seen = {(n.onset, n.midi, n.name, hand(n)) for n in theirs if not n.grace}
    told_moves = {(Fraction(m["onset"]), m["pedal"], m["to"]) for m in report["pedals"]["moves"]}
    seen_moves = {(m.onset, m.letter, m.after) for m in moves}
    notes, feet = len(told ^ seen), len(told_moves ^ seen_moves)
    return {"report_notes_differ": float(notes), "report_moves_differ": float(feet),
            "report_differs": float(notes + feet)}


def _changes(ours: Iterable[Note], theirs: Iterable[Note], score: Score) -> Row:
    """Notes lost and gained with their bars."""
    one, two = attacks(ours), attacks(theirs)
    lost, gained = sums(one) - sums(two), sums(two) - sums(one)
    return {"lost": _listed(one, lost, score), "gained": _listed(two, gained, score)}


def _listed(notes: Iterable[Note], wanted: Counter[tuple[Fraction, int]],
            score: Score) -> list[str]:
    left = Counter(wanted)
    found = []
    for note in notes:
        if left[note.onset, note.midi] > 0:
            left[note.onset, note.midi] -= 1
            bar = score.bar_at(note.onset)
            found.append(f"bar {bar.number} at {note.onset - bar.onset}: {note.name} "
                         f"staff {note.staff}")
    return found


def _schema(written: bytes) -> dict[str, float]:
    try:
        from tests.schema import validate  # written apart; may be missing
        return {"schema": float(len(validate(written)))}
    except ImportError:
        return {}


def _same_files(one: Path, two: Path) -> bool:
    names = sorted(p.name for p in one.iterdir())
    return names == sorted(p.name for p in two.iterdir()) and all(
        (one / name).read_bytes() == (two / name).read_bytes() for name in names)


def _again(draft: Path, folder: Path, report: Mapping[str, Any], first: Iterable[Note]) -> Row:
    """Stability: the draft converted again gives itself, with an empty ledger."""
    convert(draft, folder)
    second_report = json.loads((folder / "report.json").read_text())
    score = read_score(folder / "draft.musicxml")
    second = score.part_notes([score.part_id("Harp")])

    def content(notes: Iterable[Note]) -> Counter[object]:
        return Counter((n.onset, n.midi, n.name, n.staff, n.fingers, n.arpeggiate, n.grace)
                       for n in notes)

    def moves(told: Mapping[str, Any]) -> list[tuple[Any, ...]]:
        return sorted((Fraction(m["onset"]), m["pedal"], m["to"]) for m in told["pedals"]["moves"])
    one, two = content(first), content(second)
    same_pedals = moves(report) == moves(second_report) \
        and report["pedals"]["opening"] == second_report["pedals"]["opening"]
    return {"again_ledger": len(second_report["ledger"]),
            "again_notes_differ": ((one - two) | (two - one)).total(),
            "again_pedals_same": same_pedals,
            "stable": one == two and same_pedals and not second_report["ledger"]}


def _as_written(path: Path, parts: Sequence[str]) -> dict[str, int]:
    """Baseline: the source played as written, staff = hand; violations apart from the pedals."""
    score = read_score(path)
    counts: Counter[str] = Counter()
    for name in parts:
        found = simulate(score, part=score.part_id(name)).counts
        counts.update({c: found[c] for c in ("B2", "B2b", "B3", "B4", "B6", "B8")})
    return dict(counts)


def scores(folder: Path) -> list[Path]:
    """Scores of a folder (or one file), by name."""
    if folder.is_file():
        return [folder]
    return sorted(p for p in folder.iterdir() if p.suffix in SUFFIXES)


def rows(paths: Sequence[Path], jobs: int, **flags: bool) -> list[Row]:
    """Rows of all files, a few processes at a time, with progress on stderr."""
    start = time.monotonic()
    found: dict[str, Row] = {}
    with ProcessPoolExecutor(max_workers=jobs) as pool:
        waiting = {pool.submit(evaluate, path, **flags): path for path in paths}
        for done, future in enumerate(as_completed(waiting), 1):
            found[str(waiting[future])] = future.result()
            spent = time.monotonic() - start
            left = spent / done * (len(paths) - done)
            print(f"\r{done}/{len(paths)} files, about {left:.0f} s left ", end="",
                  file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return [found[str(path)] for path in paths]


def means(table: Sequence[Row]) -> dict[str, Any]:
    """Means over files, sums of violations, note-weighted comfort profiles."""
    good = [r for r in table if "error" not in r]
    keys = sorted({k for r in good for k, v in r.items()
                   if isinstance(v, int | float) and not isinstance(v, bool)})
    per_file = {}
    for key in keys:
        values = [r[key] for r in good if r.get(key) is not None]
        per_file[key] = sum(values) / len(values) if values else None
    weight = sum(r["notes"] for r in good)
    weighted = {k: sum(r[k] * r["notes"] for r in good) / weight
                for k in keys if weight and all(r.get(k) is not None for r in good)}
    flags = {k: sum(bool(r.get(k)) for r in good) for k in ("same_bytes", "stable")
             if any(k in r for r in good)}
    return {"files": len(table), "failed": len(table) - len(good), "per_file": per_file,
            "note_weighted": weighted, "totals": {c: sum(r[c] for r in good) for c in HARD},
            "needs_you": sum(r["exit"] != 0 for r in good), **flags,
            "profile_source": weighted_profile(r["profile_source"] for r in good),
            "profile_draft": weighted_profile(r["profile_draft"] for r in good)}


def weighted_profile(profiles: Iterable[Mapping[str, float]]) -> dict[str, float]:
    """Mean of comfort profiles with the number of notes as weight."""
    listed = list(profiles)
    weight = sum(p["notes"] for p in listed)
    names = (*comfort.PIANO, "over_tenth_unrolled")
    return {k: sum(p[k] * p["notes"] for p in listed) / weight if weight else 0.0 for k in names}


def harp_profile(folder: Path, more_than: int = 60) -> dict[str, float]:
    """Comfort profile of real harp parts as written, files of more than 60 notes."""
    found = []
    for path in scores(folder):
        score = read_score(path)
        profile = comfort.comfort_profile(score.notes, float(score.tempo[0][1]))
        if profile["notes"] > more_than:
            found.append(profile)
    return weighted_profile(found)


def print_table(table: Sequence[Row], summary: Mapping[str, Any]) -> None:
    """Print one line a file, then means and sums."""
    print(" ".join(["file".ljust(24), *(h.rjust(_width(f)) for h, _, f in COLUMNS)]))
    for row in table:
        print(_short(row["file"]), row.get("error") or _cells(row))
    print("mean over files         ", _cells(summary["per_file"]))
    print("weighted by notes       ", _cells(summary["note_weighted"]))
    broken = ", ".join(f"{c} {n:.0f}" for c, n in summary["totals"].items() if n) or "none"
    print(f"violations: {broken}; drafts that need the arranger: {summary['needs_you']}; "
          f"failed: {summary['failed']} of {summary['files']}")
    gaps = sorted(r["gap"] for r in table if "error" not in r)
    if gaps:
        print(f"gap to the bound: none in {sum(g == 0 for g in gaps)}, at most 2 % in "
              f"{sum(g <= 0.02 for g in gaps)}, {gaps[-1]:.0%} at worst")
    for key in ("same_bytes", "stable"):
        if key in summary:
            print(f"{key}: {summary[key]} of {summary['files'] - summary['failed']}")


def _cells(row: Mapping[str, Any]) -> str:
    return " ".join("-".rjust(_width(form)) if row.get(key) is None else f"{row[key]:{form}}"
                    for _, key, form in COLUMNS)


def _width(form: str) -> int:
    return int(form.split(".")[0])


def _short(name: str) -> str:
    stem = name.rsplit(".", 1)[0]
    return (stem if len(stem) <= 24 else stem[:10] + ".." + stem[-12:]).ljust(24)


def print_profile(summary: Mapping[str, Any]) -> None:
    """Print the comfort table: as written, draft, real harp parts, and the printed columns."""
    harp = harp_profile(HARP_DATA) if HARP_DATA.exists() else {}
    print(f"\n{'comfort, per 100 notes':22} {'source':>8} {'draft':>8} {'harp':>8} "
          f"{'(piano)':>8} {'bar':>8}")
    for name in comfort.PIANO:
        cells = (summary["profile_source"][name], summary["profile_draft"][name], harp.get(name),
                 comfort.PIANO[name], comfort.BAR[name])
        over = "  over" if cells[1] > comfort.BAR[name] + 0.005 else ""
        print(f"{name:22}", *("       -" if c is None else f"{c:8.2f}" for c in cells), over)
    print(f"{'  unrolled tenths':22} {summary['profile_source']['over_tenth_unrolled']:8.2f} "
          f"{summary['profile_draft']['over_tenth_unrolled']:8.2f}")


def print_terms(summary: Mapping[str, Any]) -> None:
    """Print the terms of comfort in the mean over the files."""
    terms = ("C1", "C2_mean", "C2_max", "C2_foot_rate", "C3", "C4", "C4_loud",
             "C4_damped", "C4_placed", "damps", "damps_busy", "C5_95", "C5_max",
             "C6", "C7", "C8", "C9", "C10", "C11", "alike_bars", "alike_beats", "begun_on_beat")
    print("\n" + "  ".join(f"{t} {v:.3f}" for t in terms
                           if (v := summary["per_file"].get(t)) is not None))


def print_changes(table: Sequence[Row]) -> None:
    """Print what real harp parts lost or gained, bar by bar."""
    for row in table:
        if row.get("lost") or row.get("gained"):
            print(f"\n{row['file']}")
            for line in _lines(row):
                print(f"  {line}")
    lost, gained = (sum(len(r.get(k, ())) for r in table) for k in ("lost", "gained"))
    print(f"\nharp parts: {lost} notes lost, {gained} gained in {len(table)} files")


def _lines(row: Row) -> Iterator[str]:
    yield from (f"lost   {line}" for line in row["lost"])
    yield from (f"gained {line}" for line in row["gained"])


def main(argv: Sequence[str] | None = None) -> int:
    """Parse the arguments, run, print, write."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluate", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("-o", "--out", type=Path, help="write all figures as JSON")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--limit", type=int)
    parser.add_argument("--twice", action="store_true", help="a second run gives the same bytes")
    parser.add_argument("--again", action="store_true", help="the draft converts to itself")
    parser.add_argument("--baseline", action="store_true", help="violations of the source as is")
    parser.add_argument("--profile", action="store_true", help="print the comfort table")
    parser.add_argument("--harp-parts", action="store_true", help="list notes lost and gained")
    parser.add_argument("--all-parts", action="store_true", help="arrange every part of a score")
    parser.add_argument("--prove", action="store_true",
                        help="convert with --prove: ten times the work on a proof")
    parser.add_argument("--program", type=Path, default=ROOT,
                        help="measure another checkout, as a baseline")
    options = parser.parse_args(argv)
    os.environ[PROGRAM] = str(options.program.resolve())
    os.environ[EXTRA] = "--prove" if options.prove else ""
    table = rows(scores(options.folder)[:options.limit], options.jobs, twice=options.twice,
                 again=options.again, baseline=options.baseline, all_parts=options.all_parts)
    summary = means(table)
    print_table(table, summary)
    if options.baseline:
        total: Counter[str] = Counter()
        for row in table:
            total.update(row.get("baseline", {}))
        print("baseline, source as written:", ", ".join(f"{c} {n}" for c, n in total.items()))
    if options.harp_parts:
        print_changes(table)
    if options.profile:
        print_profile(summary)
        print_terms(summary)
    if options.out:
        options.out.parent.mkdir(parents=True, exist_ok=True)
        content = {"folder": str(options.folder), "means": summary, "files": table}
        options.out.write_text(json.dumps(content, indent=1, default=str) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
