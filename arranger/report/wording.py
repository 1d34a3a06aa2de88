"""The words of the report, shared by the terminal and the page.

All functions take parts of the object that is written as ``report.json``.
"""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from html import escape
from itertools import groupby
from typing import Any

from arranger.model.levers import transposition_words
from arranger.model.pitch import SIGNS, Pitch
from arranger.model.score import bar_name, beat_name
from arranger.rulebook.titles import titled

Entry = Mapping[str, Any]
#: Signs of a line that is printed, at most.
WIDTH = 80
_PLACE = re.compile(r"^(?:bar [^,]{1,12}|upbeat), beat [\d½¼¾⅓⅔⅙⅚⅛⅜⅝⅞]+"
                    r"(?:, just (?:after|before)| or so)?: ")

#: Kinds of alteration in the order of weight for the ear, and what a harpist calls them.
KINDS: Mapping[str, str] = {
    "drop": "left out",
    "repitch": "other note of the harmony",
    "octave": "in another octave",
    "add": "added",
    "move-in-time": "moved in time",
    "restrike": "struck again",
    "merge": "joined with the same sound",
    "duration": "other length",
    "respell": "other string",
    "hand": "other hand",
    "roll": "rolled",
}
SEVERITIES: Mapping[str, str] = {
    "error": "cannot be played",
    "warning": "against the idiom",
    "advice": "matter of taste",
}
#: Findings about the work of the feet, and how many of them in one bar are many (assumption).
_FEET, _MANY = ("P2", "P3", "P4"), 2
#: A pedal on a string that rings: it is heard, not felt, and damping mends it, no slower tempo.
_HEARD = "P2"
#: A third of the bars, but no fewer than four, make a draft doubtful (assumption).
_RESISTS, _LEAST_HIT = 3, 4
CAUTION = "A draft is a proposal; it is settled when a harpist has played it."


def plain(value: object) -> str:
    """Return the value as text without control or formatting characters (titles come from files).

    Line breaks become spaces, anything else that does not print becomes a question mark. Double
    sharps and flats, which few text fonts have, are written as two signs.
    """
    text = str(value).replace("𝄫", "♭♭").replace("𝄪", "♯♯")
    return "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in text)


def kind_words(entry: Entry) -> str:
    """Name one alteration: ``left out``, ``an octave higher``, ``other string``."""
    kind = str(entry["kind"])
    if kind == "octave" and entry["before"] and entry["after"]:
        semitones = entry["after"][0]["midi"] - entry["before"][0]["midi"]
        octaves = max(round(abs(semitones) / 12), 1)
        amount = "an octave" if octaves == 1 else f"{octaves} octaves"
        return f"{amount} {'higher' if semitones > 0 else 'lower'}"
    return KINDS.get(kind, plain(kind))


def by_kind(ledger: Sequence[Entry]) -> list[tuple[str, list[Entry]]]:
    """Group a ledger by its words, the weightiest kind first, in order of the score inside."""
    order = list(KINDS)

    def rank(entry: Entry) -> tuple[int, str]:
        kind = str(entry["kind"])
        return order.index(kind) if kind in order else len(order), kind_words(entry)

    ranked = sorted(ledger, key=lambda e: (rank(e), Fraction(e["onset"])))
    return [(words, list(group)) for words, group in groupby(ranked, key=kind_words)]


def capital(text: str) -> str:
    """Return the text with its first letter large."""
    return text[:1].upper() + text[1:]


def note_label(name: str) -> str:
    """Write ``Cb5`` as ``C♭5``; what is no pitch name is returned as it is."""
    try:
        return plain(Pitch.parse(name).label)
    except ValueError:
        return plain(name)


def beat_words(beat: object) -> str:
    """Show a beat: ``3``, ``2½``, ``4⅓`` or, off those, ``4, just after``."""
    return beat_name(Fraction(str(beat)))


def place(entry: Entry) -> str:
    """Say where: ``bar 12, beat 3``."""
    return f"{bar_name(plain(entry['bar']))}, beat {beat_words(entry['beat'])}"


def bars(entries: Iterable[Entry], most: int = 10) -> str:
    """List the bars of some entries: ``bar 3``, ``bars 3, 7-9, 12``, ``upbeat, bars 1-3``.

    Neighbouring bars are joined; after ``most`` items the rest is only counted.
    """
    runs: list[list[tuple[int | None, str]]] = []
    for index, shown in _distinct_bars(entries):
        if runs and index is not None and runs[-1][-1][0] == index - 1 and runs[-1][0][1] != "0":
            runs[-1].append((index, shown))
        else:
            runs.append([(index, shown)])
    upbeat = [bar_name("0")] if runs and runs[0][0][1] == "0" else []
    runs = runs[len(upbeat):]
    if not runs:
        return "".join(upbeat)
    items = [r[0][1] if len(r) == 1 else f"{r[0][1]}-{r[-1][1]}" for r in runs]
    if len(items) > most:
        items = [*items[:most], f"and {len(items) - most} more places"]
    single = len(runs) == 1 and len(runs[0]) == 1
    return ", ".join([*upbeat, ("bar " if single else "bars ") + ", ".join(items)])


def at_every_place(entries: Iterable[Entry]) -> list[Entry]:
    """Return an entry for each place of what is said once for several."""
    return [{**{k: v for k, v in entry.items() if k != "places"}, **place}
            for entry in entries for place in entry.get("places", ({},))]


def _distinct_bars(entries: Iterable[Entry]) -> list[tuple[int | None, str]]:
    found: dict[tuple[int | None, str], Fraction] = {}
    for entry in at_every_place(entries):
        shown = plain(entry["bar"])
        index = entry.get("bar_index", int(shown) if shown.isdecimal() else None)
        found.setdefault((index, shown), Fraction(entry["onset"]))
    return sorted(found, key=lambda key: (found[key], key[0] or 0))


def message(finding: Entry) -> str:
    """Return a finding's sentence without the place it may open with: lists show that already."""
    return _PLACE.sub("", plain(finding["message"]))


def verdict(report: Entry) -> str:
    """Say in a sentence or two whether the draft stands, and which bars need the player.

    A draft that fails, or changes tune or bass, in a good part of its bars is better left alone.
    """
    findings = report["findings"]
    errors = [f for f in findings if f["severity"] == "error"]
    voices = [f for f in findings if f["code"] == "T4"]
    thing = "draft" if "ledger" in report else "part"
    said = [(f"the draft needs you at {bars(errors)}." if thing == "draft" else
             f"not to be played as written: {bars(errors)}.") if errors else
            f"the {thing} is ready to try; no bar of it is beyond the harp."]
    gone = [e for e in report.get("ledger", ()) if e["kind"] == "drop"]
    if gone and report.get("settings", {}).get("part_is_harp"):
        lost = "one note" if len(gone) == 1 else f"{len(gone)} notes"
        said = [f"{lost} of your part left out: {bars(gone)}.", *(said if errors else ())]
    said += _comfort(report)
    hit, count = len(_distinct_bars([*errors, *voices])), len(report.get("bars", ()))
    if thing == "draft" and hit >= _LEAST_HIT and hit * _RESISTS >= count > 0:
        said.append(f"It resists the harp: {hit} of {count} bars cannot be played or lose notes "
                    f"of tune or bass.")
    if voices:
        said.append(f"Look {'next' if errors else 'first'} at {bars(voices)}: tune or bass.")
    feet = at_every_place(f for f in findings
                          if f["severity"] == "warning" and f["code"] in _FEET)
    per_bar = Counter(f.get("bar_index", f["bar"]) for f in feet)
    pressed = [f for f in feet if per_bar[f.get("bar_index", f["bar"])] >= _MANY]
    if pressed:
        said.append(f"Busy feet at {bars(pressed)}.")
    return " ".join(said)


def _comfort(report: Entry) -> list[str]:
    """Say in how many bars there is less time than is comfortable, and which tempo would do.

    Bars that cannot be played are told apart. Where the tempo changes, the share of it is told.
    What only rings on is no matter of time: a study would be comfortable at a third of its tempo.
    """
    beyond = {f["bar"] for f in at_every_place(report["findings"]) if f["severity"] == "error"}
    limited = [f for f in report["findings"]
               if "limit" in f and f["severity"] != "error" and f["code"] != _HEARD]
    found = {f["bar"] for f in at_every_place(limited)} - beyond
    tempi = [(Fraction(m["onset"]), Fraction(m["bpm"])) for m in report.get("tempo", ())]

    def share(finding: Entry) -> Fraction:
        """What is comfortable of the tempo there."""
        onset = Fraction(finding["onset"])
        return Fraction(finding["limit"]) / next(
            (bpm for at, bpm in reversed(tempi) if at <= onset), Fraction(1))

    hardest = min((f for f in limited if f["bar"] in found), key=share, default=None)
    if hardest is None:
        return []
    assumed = report.get("settings", {}).get("tempo_assumed")
    name, limit = bar_name(plain(hardest["bar"])), f"crotchet = {hardest['limit']}"
    if len(found) == 1:
        told = f"{name} asks for more than is comfortable: comfortable up to {limit}"
    elif len({bpm for _, bpm in tempi}) > 1:
        told = (f"{len(found)} bars ask for more than is comfortable: comfortable at "
                f"{int(100 * share(hardest))} % of it ({name}, up to {limit}, is the hardest)")
    else:
        told = (f"{len(found)} bars ask for more than is comfortable: comfortable up to "
                f"{limit} ({name} is the hardest)")
    return [f"At {'the assumed' if assumed else 'this'} tempo {told}."]


def wrapped(line: str, indent: str) -> list[str]:
    """Lines of at most 80 signs, those after the first indented; an empty line stays one."""
    return textwrap.wrap(line, WIDTH, subsequent_indent=indent) or [""]


def settings_words(settings: Mapping[str, Any]) -> str:
    """Say what the draft was made for: harp, player, tempo, transposition, then the rest."""
    rest = {k: v for k, v in settings.items() if v not in (None, False, "", "all", 0, [])}
    said = [titled(f"{kind}s", str(rest.pop(kind))) for kind in ("harp", "player") if kind in rest]
    origin = rest.pop("tempo_from", "number")
    beat = f": {rest.pop('tempo_beat')}" if "tempo_beat" in rest else ""
    assumed = (f" (assumed{beat})" if rest.pop("tempo_assumed", False)
               else f" (from its tempo word{beat})" if origin == "word" else "")
    word = rest.pop("tempo_word", "")
    if rest.pop("part_is_harp", False):
        said.append("a harp part kept as it is")
    unlike = f" though it says {word}" if word else ""
    if "tempo" in rest:
        said.append(f"crotchet {rest.pop('tempo')}{assumed} at the start{unlike}")
    if "transpose" in rest:
        said.append(f"transposed by {rest.pop('transpose')} semitones")
    said += [f"{k} {v}".replace("_", " ") for k, v in sorted(rest.items())]
    return plain("; ".join(said))


def entailed(lines: Sequence[str]) -> tuple[str, str]:
    """What a choice changes besides (a line a bar): in one sentence, and the lines as HTML list.

    The list is empty where the sentence says it all.
    """
    if len(lines) < 2:
        return (f"then {plain(lines[0])}" if lines else ""), ""
    first, last = (plain(line).partition(":")[0].removeprefix("bar ") for line in
                   (lines[0], lines[-1]))
    rows = "".join(f"<li>{escape(plain(line))}</li>" for line in lines)
    return f"changes {len(lines)} bars, {first} to {last}", f"<ul>{rows}</ul>"


def tuning_words(pedals: Mapping[str, Any]) -> str:
    """Say which strings without discs are tuned by hand, or nothing."""
    tuned = [note_label(f"{name[:1]}{SIGNS[alter]}{name[1:]}")
             for name, alter in sorted(pedals.get("tuned", {}).items())]
    return f"Before the start tune by hand: {', '.join(tuned)}." if tuned else ""


def key_words(levers: Mapping[str, Any]) -> str:
    """Say in which keys within a fourth no lever moves and no note is lost, or nothing.

    Where there is none, which key loses the least.
    """
    if "keys" not in levers:
        return ""
    keys = levers["keys"]
    if any(k["semitones"] == 0 for k in keys):
        return "every note of this key with the levers as set"
    if "best_key" in levers:
        return _least_loss(levers["best_key"])
    if not keys:
        return "every key within a fourth needs lever changes"
    told = ", ".join(transposition_words(k["semitones"], k["fifths"]) for k in keys)
    return f"all notes with the levers as set if transposed {told}"


def _least_loss(best: Mapping[str, Any]) -> str:
    here = _lost_words(best["here"])
    if best["semitones"] == 0:
        return f"none within a fourth keeps all notes, and none loses less than this: {here}"
    name = transposition_words(best["semitones"], best["fifths"])
    if not best["lost"] + best["outside"]:
        return (f"transposed {name} all notes stay, with {best['moves']} levers moved in the "
                f"piece; here are lost {here}")
    return (f"none within a fourth keeps all notes; transposed {name} the loss is least: "
            f"{_lost_words(best)}; here {here}")


def _lost_words(key: Mapping[str, Any]) -> str:
    """Say how much a key loses: ``18 notes, 7 of them tune or bass``."""
    count = key["lost"]
    said = [f"{count} note{'s' if count != 1 else ''}"] if count or not key["outside"] else []
    if key["outer"]:
        said.append(f"{key['outer']} of them tune or bass")
    if key["outside"]:
        said.append(f"{key['outside']} out of the compass")
    return ", ".join(said)


def tuning_advice(levers: Mapping[str, Any]) -> str:
    """Say in which tunings of the harp all notes can be set, where they cannot in this one."""
    tunings = [plain(t).replace("b", "♭").replace("#", "♯") for t in levers.get("tunings", ())]
    return f"or retune the harp: all notes with the levers as set in {', '.join(tunings)}" \
        if tunings else ""
