"""Measure the reduction of ensembles: ``python -m tests.ensembles [FOLDER] [--corpus N]``.

Every score is converted with ``--part all`` by the command line; the draft and the plain baseline
"outer voices and what fits" are measured against the source by the same judge; ``timely`` is the
baseline without what comes again sooner than any string can give it. ``--corpus N`` takes N scores
of the music21 package (quartets, chorales, madrigals, songs), evenly spaced. ``--bars N``
cuts every score after N bars.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from lxml import etree

from tests.evaluate import convert, scores
from tests.metrics_comfort import PIANO, comfort_profile
from tests.metrics_fidelity import attacks, fidelity
from tests.reduction_baseline import as_harp, in_time
from tests.score_reading import read_score
from tests.score_values import Note
from tests.simulation_result import HARD
from tests.simulator import simulate

FOLDER = Path(__file__).parents[2] / "shared" / "data" / "ensemble"
#: Folders of the music21 corpus with scores of several parts.
KINDS = ("bach", "haydn", "mozart", "beethoven", "schumann_robert", "schumann_clara", "handel",
         "monteverdi", "palestrina", "corelli", "verdi", "schubert", "weber", "beach", "josquin")
SHOWN = (("tune", "A2"), ("bass", "A3"), ("recall", "A4_recall"), ("precision", "A4_precision"))
Row = dict[str, Any]


def measure(path: Path, bars: int = 0) -> Row:
    """One row: draft and baseline of a score."""
    row: Row = {"file": path.name}
    try:
        with tempfile.TemporaryDirectory() as folder:
            source_path = cut(path, Path(folder) / "source.musicxml", bars) if bars else path
            row |= _measured(source_path, Path(folder) / "out")
    except Exception as error:  # a row, never a crash
        row["error"] = f"{type(error).__name__}: {error}".splitlines()[0][:200]
    return row


def _measured(path: Path, out: Path) -> Row:
    status, seconds = convert(path, out, ["--part", "all", "--no-page"])
    report = json.loads((out / "report.json").read_text())
    source, draft = read_score(path), read_score((out / "draft.musicxml").read_bytes())
    ours = list(source.notes)
    theirs = list(draft.part_notes([draft.part_id("Harp")]))
    plain = as_harp(attacks(ours), lambda n: n.position)
    told = report["settings"].get("tempo")
    bpm = float(source.tempo[0][1])
    timely = in_time(plain, 60 / bpm)
    tempo = float(Fraction(told)) if draft.tempo_assumed and told else None
    faults = simulate(draft, tempo=tempo).of(*HARD)
    made = fidelity(ours, theirs, report["ledger"])
    return {"exit": status, "seconds": seconds, "notes": len(attacks(ours)),
            "group_b": len(faults), "closed": made["A11_closed"],
            "whole_onsets": whole_onsets(ours, theirs),
            "draft": {name: made[key] for name, key in SHOWN}
            | {"risk": risk(theirs, ours, bpm)},
            "plain": _plain(ours, plain)
            | {"risk": risk(plain, ours, bpm)},
            "in time": _plain(ours, timely) | {"risk": risk(timely, ours, bpm)}}


def _plain(ours: Sequence[Note], plain: Sequence[Note]) -> dict[str, Any]:
    made = fidelity(ours, plain)
    return {name: made[key] for name, key in SHOWN}


def risk(notes: Sequence[Note], source: Sequence[Note], bpm: float) -> float:
    """Events that are hard or impossible, of all kinds of the comfort profile, in 100 notes."""
    found = comfort_profile(attacks(notes), bpm, per=len(attacks(source)))
    return sum(found[name] for name in PIANO if name != "travel95")


def whole_onsets(source: Iterable[Note], draft: Iterable[Note]) -> float:
    """Share of the onsets at which every pitch of the source is struck."""
    tables: list[dict[Fraction, set[int]]] = [{}, {}]
    for table, notes in zip(tables, (source, draft), strict=True):
        for note in notes:
            if not note.grace:
                table.setdefault(note.onset, set()).add(note.midi)
    ours, theirs = tables
    return sum(struck <= theirs.get(onset, set()) for onset, struck in ours.items()) / len(ours)


def cut(path: Path, to: Path, bars: int) -> Path:
    """Write the first bars of a score."""
    if path.suffix == ".mxl":
        with zipfile.ZipFile(path) as archive:
            inside = etree.fromstring(archive.read("META-INF/container.xml"))
            name = inside.find(".//{*}rootfile").get("full-path")
            root = etree.fromstring(archive.read(name))
    else:
        root = etree.parse(str(path)).getroot()
    for part in root.findall("part"):
        for measure_ in part.findall("measure")[bars:]:
            part.remove(measure_)
    etree.ElementTree(root).write(str(to))
    return to


def corpus(count: int) -> list[Path]:
    """Scores of the music21 package with three parts or more, evenly over their composers."""
    import music21
    root = Path(music21.__file__).parent / "corpus"
    kinds = [sorted(p for p in (root / kind).rglob("*") if p.suffix in (".mxl", ".xml"))
             for kind in KINDS]
    share = next((n for n in range(1, count + 1) if sum(min(n, len(k)) for k in kinds) >= count),
                 count)
    return [path for kind in kinds for path in kind[::max(1, len(kind) // share)][:share]][:count]


def told(table: Sequence[Row]) -> list[str]:
    """Lines of the table: each score, then the means."""
    good = [r for r in table if "error" not in r]
    lines = [f"{'file':32} {'notes':>6} {'B':>3} {'closed':>6} {'whole':>6} "
             + " ".join(f"{n:>9} {'plain':>6} {'timely':>6}" for n in (*dict(SHOWN), "risk"))
             + f" {'sec':>6}"]
    for row in table:
        lines.append(f"{row['file'][:32]:32} " + (row["error"] if "error" in row else (
            f"{row['notes']:6} {row['group_b']:3} {row['closed']:6.0f} {row['whole_onsets']:6.3f} "
            + _pairs(row) + f" {row['seconds']:6.1f}")))
    if good:
        mean = {side: {n: sum(r[side][n] for r in good) / len(good) for n in good[0][side]}
                for side in ("draft", "plain", "in time")}
        lines.append(f"{'mean of ' + str(len(good)):32} {sum(r['notes'] for r in good):6} "
                     f"{sum(r['group_b'] for r in good):3} "
                     f"{sum(r['closed'] for r in good) / len(good):6.2f} "
                     f"{sum(r['whole_onsets'] for r in good) / len(good):6.3f} " + _pairs(mean))
    return lines


def _pairs(row: Mapping[str, Any]) -> str:
    return " ".join(f"{row['draft'][n]:9.3f} {row['plain'][n]:6.3f} {row['in time'][n]:6.3f}"
                    for n in (*dict(SHOWN), "risk"))


def main() -> None:
    """Print the table; ``-o`` keeps the rows as lines of JSON."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("folder", nargs="?", type=Path)
    ask.add_argument("--corpus", type=int, default=0)
    ask.add_argument("--bars", type=int, default=0)
    ask.add_argument("-o", "--out", type=Path)
    said = ask.parse_args()
    paths = corpus(said.corpus) if said.corpus else scores(said.folder or FOLDER)
    table = []
    for path in paths:
        table.append(measure(path, said.bars))
        print(told(table[-1:])[1], flush=True)
        if said.out:
            said.out.write_text("".join(json.dumps(r) + "\n" for r in table))
    print("\n".join(told(table)))


if __name__ == "__main__":
    main()
