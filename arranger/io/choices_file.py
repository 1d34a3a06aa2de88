"""The choices of an arranger in a TOML file that is kept beside the score for years.

    [[choice]]
    bar = "12"          # as printed
    beat = 3.0          # in units of the metre; "10/3" where no decimal is exact
    note = "C#5"        # the sounding note the choice is about
    string = "D"        # or hand = "left", finger = 2, octave = 1, pitch = "E5", keep = true,
                        # drop = true, roll = false, line = "left" (single notes from here on),
                        # still = true (no pedal moves in this bar)
    why = "rings longer into the next bar"
    before = ["A4", "E4 A4"]     # what is struck around it, by which a later edition finds it
    beside = "A3"
    after = ["E5"]

Instead of ``note`` and a decision, ``pedal = "F#"`` says that this move stands at bar and beat
(``F``, ``F#``, ``Fb``). What is written is the same to the byte for the same choices.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from typing import Any

from arranger.io.files import read_bytes
from arranger.model.choice import HANDS, KINDS, OF_HANDS, Around, Choice
from arranger.model.errors import ChoiceError, SourceError
from arranger.model.pitch import Pitch

_LIMIT = 4 * 2**20
_PLACE = ("bar", "index", "beat", "note", "why", "before", "beside", "after")
_PEDAL = re.compile(r"[A-G][#b]?")


def read_choices(path: Path) -> tuple[Choice, ...]:
    """Read a choices file.

    Raises
    ------
    ChoiceError
        The file cannot be read or is not TOML, or a choice is wrong; names file, line and key.
    """
    try:
        text = read_bytes(path, _LIMIT).decode("utf-8")
        table = tomllib.loads(text)
    except SourceError as error:
        raise ChoiceError(str(error).replace("give a score file", "give a choices file")) from error
    except UnicodeDecodeError as error:
        raise ChoiceError(f"{path}: not UTF-8 text") from error
    except tomllib.TOMLDecodeError as error:
        raise ChoiceError(f"{path}: not TOML: {error}") from error
    reader = _Reader(path, text)
    for key in table:
        if key != "choice":
            raise ChoiceError(f"{path}: line {reader.line(0, key)}: unknown key {key}; a choice "
                              f"begins with [[choice]]")
    rows = table.get("choice", [])
    if not isinstance(rows, list) or not all(isinstance(r, dict) for r in rows):
        raise ChoiceError(f"{path}: write each choice under a line [[choice]]")
    return tuple(c for number, row in enumerate(rows, 1) for c in reader.choices(number, row))


class _Reader:
    """Choices from tables, and where in the text each key stands."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.lines = text.splitlines()
        self.heads = [i for i, line in enumerate(self.lines, 1)
                      if re.match(r"\s*\[\[\s*choice\s*\]\]", line)]

    def line(self, number: int, key: str = "") -> int:
        """Line of a key of the choice with this number from 1; of its head without a key."""
        start = self.heads[number - 1] if 0 < number <= len(self.heads) else 1
        end = self.heads[number] - 1 if number < len(self.heads) else len(self.lines)
        for at in range(start, end + 1):
            if key and re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=", self.lines[at - 1]):
                return at
        return start

    def fault(self, number: int, key: str, what: str) -> ChoiceError:
        """One line: the file, the line, the choice and its key."""
        return ChoiceError(f"{self.path}: line {self.line(number, key)}: choice {number}: "
                           f"{key} {what}")

    def choices(self, number: int, row: Mapping[str, Any]) -> list[Choice]:
        """All decisions of one table."""
        for key in row:
            if key not in (*_PLACE, *KINDS, "pedal"):
                raise self.fault(number, key, "is not known; a choice has bar, beat, note and one "
                                 f"of {', '.join(KINDS)}, or pedal")
        bar, beat = self._bar(number, row), self._beat(number, row)
        why, index = row.get("why", ""), row.get("index")
        if not isinstance(why, str):
            raise self.fault(number, "why", f"must be text, not {why!r}")
        if index is not None and (type(index) is not int or index < 1):
            raise self.fault(number, "index", f"must count bars from 1, not {index!r}")
        around = self._around(number, row)
        made = [k for k in (*KINDS, "pedal") if k in row]
        if not made:
            raise self.fault(number, "note" if "note" in row else "bar", "stands without a "
                             f"decision; add one of {', '.join((*KINDS, 'pedal'))}")
        if "pedal" in row and ("note" in row or len(made) > 1):
            raise self.fault(number, "pedal", "is about a foot: it takes neither a note nor "
                             "another decision")
        note = None if "pedal" in row else self._note(number, row)
        return [Choice(bar, beat, note, kind, self._value(number, kind, row[kind]), why, around,
                       index) for kind in made]

    def _bar(self, number: int, row: Mapping[str, Any]) -> str:
        bar = row.get("bar")
        if type(bar) is int:
            bar = str(bar)
        if not isinstance(bar, str) or not bar:
            raise self.fault(number, "bar", 'must be the printed number of the bar, as bar = "12"')
        return bar

    def _beat(self, number: int, row: Mapping[str, Any]) -> Fraction:
        beat = row.get("beat")
        try:
            if isinstance(beat, bool) or not isinstance(beat, int | float | str):
                raise ValueError
            value = Fraction(str(beat))
        except (ValueError, ZeroDivisionError):
            value = Fraction(0)
        if value < 1:
            raise self.fault(number, "beat", 'must be a number from 1 on, as beat = 2.5 or '
                             f'"7/3", not {beat!r}')
        return value

    def _note(self, number: int, row: Mapping[str, Any]) -> Pitch:
        if "note" not in row:
            raise self.fault(number, "note", "is missing; name the sounding note, as C#5")
        return self._pitch(number, "note", row["note"])

    def _pitch(self, number: int, key: str, name: object) -> Pitch:
        try:
            return Pitch.parse(str(name))
        except ValueError as error:
            raise self.fault(number, key, f"must be a pitch such as C#5 or Bb3, not {name!r}"
                             ) from error

    def _value(self, number: int, kind: str, value: object) -> str | int | bool:
        match kind:
            case "string" if isinstance(value, str) and re.fullmatch("[A-G]", value):
                return value
            case "hand" | "line" | "trill" if value in HANDS:
                return HANDS[str(value)]
            case "finger" if type(value) is int and 1 <= value <= 4:
                return value
            case "octave" if type(value) is int and 1 <= abs(value) <= 3:
                return value
            case "pitch":
                return self._pitch(number, kind, value).name
            case "keep" | "drop" | "still" if value is True:
                return True
            case "roll" if isinstance(value, bool):
                return value
            case "pedal" if isinstance(value, str) and _PEDAL.fullmatch(value):
                return value
        wanted = {"string": "a letter from A to G", "hand": '"right" or "left"',
                  "line": '"right" or "left"', "trill": '"right" or "left"',
                  "finger": "a finger from 1 (thumb) to 4", "octave": "octaves up, from -3 to 3",
                  "keep": "true", "drop": "true", "still": "true", "roll": "true or false",
                  "pedal": "a letter with its sign, as F, F# or Fb"}[kind]
        raise self.fault(number, kind, f"must be {wanted}, not {value!r}")

    def _around(self, number: int, row: Mapping[str, Any]) -> Around:
        found: dict[str, tuple[str, ...]] = {}
        for key in ("before", "after"):
            names = row.get(key, [])
            if not isinstance(names, list) or not all(isinstance(n, str) for n in names):
                raise self.fault(number, key, 'must be a list of attacks, as ["A4", "C4 E4"]')
            found[key] = tuple(names)
        beside = row.get("beside", "")
        if not isinstance(beside, str):
            raise self.fault(number, "beside", f"must be the notes struck with it, not {beside!r}")
        return Around(found["before"], beside, found["after"])


def choices_text(choices: Sequence[Choice]) -> str:
    """Return the file of these choices, in the order given; the same bytes for the same choices.

    Decisions about one note that follow each other share a table.
    """
    blocks = []
    for _, group in groupby(choices, key=lambda c: (c.bar, c.index, c.beat, c.note, c.why,
                                                    c.around)):
        same = list(group)
        if same[0].note is None:
            blocks += [_block([one]) for one in same]
        else:
            blocks.append(_block(same))
    return "\n".join(blocks)


def _block(same: Sequence[Choice]) -> str:
    first = same[0]
    lines = ["[[choice]]", f"bar = {_text(first.bar)}"]
    if first.index is not None:
        lines.append(f"index = {first.index}")
    lines.append(f"beat = {_number(first.beat)}")
    if first.note is not None:
        lines.append(f"note = {_text(first.note.name)}")
    lines += [f"{c.kind} = {_value_text(c)}"
              for c in sorted(same, key=lambda c: (*KINDS, "pedal").index(c.kind))]
    if first.why:
        lines.append(f"why = {_text(first.why)}")
    if first.around:
        lines.append(f"before = [{', '.join(map(_text, first.around.before))}]")
        lines.append(f"beside = {_text(first.around.beside)}")
        lines.append(f"after = [{', '.join(map(_text, first.around.after))}]")
    return "\n".join(lines) + "\n"


def _value_text(choice: Choice) -> str:
    value = choice.value
    if choice.kind in OF_HANDS:
        return '"right"' if value == "R" else '"left"'
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value) if isinstance(value, int) else _text(value)


def _number(beat: Fraction) -> str:
    for places in range(1, 9):
        if (beat * 10**places).denominator == 1:
            return f"{float(beat):.{places}f}"
    return f'"{beat}"'


def _text(text: str) -> str:
    """A basic string of TOML."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    escaped = "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped)
    return f'"{escaped}"'
