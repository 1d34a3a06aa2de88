"""A player file from five questions about one's own hands and feet.

What is asked is what the player does with comfort today, not what might be trained for.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from arranger.model.errors import ChoiceError
from arranger.model.harp import HarpString
from arranger.model.pitch import Pitch
from arranger.rulebook.players import Player

#: Strings a rolled grip may span beyond one taken at once (assumption).
_ROLLED = 2
_NOTICE = """\
# {title}. Limits of what a part may ask, not training
# goals: stop at pain; a teacher or a doctor decides what is healthy, not this file.
# What does not stand here is taken from the player named as base. Spans count string steps: a
# second is 1, an octave 7, a tenth 9.
"""


@dataclass(frozen=True, slots=True)
class Question:
    """A question, what answers it, and the limits that follow from an answer."""

    text: str
    default: Callable[[Player], str]
    limits: Callable[[str], Mapping[str, int | float | str]]


def _intervals(answer: str, count: int, low: int, high: int) -> list[int]:
    """Read intervals as a player counts them (octave = 8) into string steps."""
    words = answer.replace(",", " ").split()
    if len(words) != count or not all(w.isdecimal() and low <= int(w) <= high for w in words):
        number = "one number" if count == 1 else f"{count} numbers"
        raise ChoiceError(f"give {number} from {low} to {high}, such as "
                          f"{' '.join(['8', '5', '4'][:count])}; an octave is 8")
    return [int(w) - 1 for w in words]


def _comfort(answer: str) -> dict[str, int | float | str]:
    return {"comfortable_span_steps": _intervals(answer, 1, 3, 14)[0]}


def _span(answer: str) -> dict[str, int | float | str]:
    steps = _intervals(answer, 1, 3, 14)[0]
    return {"span_steps": steps, "rolled_span_steps": steps + _ROLLED}


def _pairs(answer: str) -> dict[str, int | float | str]:
    keys = ("finger_pair_1_2_steps", "finger_pair_2_3_steps", "finger_pair_3_4_steps")
    return dict(zip(keys, _intervals(answer, 3, 2, 12), strict=True))


def _arms(answer: str) -> dict[str, int | float | str]:
    names = answer.replace(",", " ").split()
    try:
        low, high = (Pitch.parse(name) for name in names)
    except ValueError as error:
        raise ChoiceError("give two strings, such as C1 G7 (C4 is middle C)") from error
    if low.alter or high.alter or HarpString.of(low) >= HarpString.of(high):
        raise ChoiceError("give two strings without sharps or flats, the lower one first")
    return {"left_hand_lowest": low.name, "right_hand_highest": high.name}


def _feet(answer: str) -> dict[str, int | float | str]:
    if not re.fullmatch(r"\d+(\.\d+)?", answer.strip()) or not 0.1 <= float(answer) <= 8:
        raise ChoiceError("give a number from 0.1 to 8, such as 2")
    calm = round(1 / float(answer), 3)
    return {"foot_sustained_seconds": calm, "foot_move_seconds": round(calm / 2, 3),
            "foot_two_notch_seconds": round(calm * 0.75, 3)}


QUESTIONS: Sequence[Question] = (
    Question("Which interval lies well in your hand, for a whole piece (octave = 8, tenth = 10)",
             lambda p: str(p.comfortable_span_steps + 1), _comfort),
    Question("Which is the widest you take at once without strain (octave = 8, tenth = 10)",
             lambda p: str(p.span_steps + 1), _span),
    Question("Widest intervals between thumb and 2, 2 and 3, 3 and 4 (three numbers)",
             lambda p: " ".join(str(steps + 1) for steps in p.finger_pairs), _pairs),
    Question("Lowest string your left and highest your right hand reach without leaning",
             lambda p: f"{p.left_hand_lowest} {p.right_hand_highest}", _arms),
    Question("How many pedals can one of your feet move in a second, at ease",
             lambda p: f"{1 / p.foot_sustained_seconds:g}", _feet),
)


def own_player(title: str, base: Player, answers: Sequence[str]) -> str:
    """Return a player file from the answers to ``QUESTIONS``, in their order.

    Raises
    ------
    ChoiceError
        If an answer cannot be read, or two do not go together.
    """
    if not title.isprintable() or not title.strip():
        raise ChoiceError("the title of a player is one line of text")
    values = {key: value for question, answer in zip(QUESTIONS, answers, strict=True)
              for key, value in question.limits(answer).items()}
    if values["comfortable_span_steps"] > values["span_steps"]:  # type: ignore[operator]
        raise ChoiceError("what lies well cannot be wider than what you take without strain")
    safe = title.replace("\\", "").replace('"', "'")
    lines = [_NOTICE.format(title=safe), f'title = "{safe}"', f'base = "{base.name}"']
    for key, value in values.items():
        shown = f'"{value}"' if isinstance(value, str) else value
        lines += ["", f"[{key}]", f"value = {shown}", f'unit = "{base.unit(key)}"',
                  'source = "measured by the player"']
    return "\n".join(lines) + "\n"
