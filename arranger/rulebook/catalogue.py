"""The rulebook as plain text: every rule on a line, or one rule with numbers and sources."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from arranger.model.harp import HarpString
from arranger.rulebook.examples import Example
from arranger.rulebook.files import rules_folder
from arranger.rulebook.harps import harp_limits
from arranger.rulebook.players import load_player
from arranger.rulebook.rules import Rule, RuleSource, rule, rulebook

WIDTH = 80
#: Player and harp whose values the catalogue shows; both are the defaults of the commands.
SHOWN_PLAYER, SHOWN_HARP = "average", "pedal-47"


def all_rules() -> str:
    """Return one line for each rule, code, severity and title, under its family's heading."""
    lines: list[str] = []
    family = ""
    for each in rulebook().values():
        if each.family != family:
            family = each.family
            lines += ["", family] if lines else [family]
        lines.append(_clip(f"  {each.code:<4}{each.severity:<9}{each.title}"))
    return "\n".join(lines) + "\n"


def one_rule(code: str) -> str:
    """Return a rule with its why, its numbers with units and sources, and its examples.

    Raises
    ------
    ChoiceError
        If there is no rule of this code; lists the codes there are.
    """
    found = rule(code.strip().upper())
    lines = [*_wrapped(f"{found.code}  {found.title}", "", "    "),
             *_wrapped(_severity(found), "", ""), "", *_wrapped(found.why, "", "")]
    numbers = list(_numbers(found))
    if numbers:
        lines += ["", "Numbers", *numbers]
    lines += ["", "Sources"]
    for source in found.sources:
        lines += _wrapped(_source(source), "  ", "    ")
    lines += ["", "Examples"]
    for example in found.examples:
        lines += _example(example)
    return "\n".join(lines) + "\n"


def catalogue(code: str | None = None) -> str:
    """Return what ``arranger rule [CODE]`` prints."""
    return all_rules() if code is None else one_rule(code)


def _severity(found: Rule) -> str:
    means = {"error": "cannot be played", "warning": "against the idiom", "advice": "taste"}
    text = f"{found.severity} ({means[found.severity]})"
    if found.timed and found.severity == "error":
        return f"{text}; at most a warning where the tempo is only assumed"
    return text


def _numbers(found: Rule) -> Iterator[str]:
    for key, limit in found.limits.items():
        value = ", ".join(limit.value) if isinstance(limit.value, tuple) else limit.value
        yield from _number(key, value, limit.unit, limit.source)
    player = load_player(SHOWN_PLAYER)
    for key in found.player:
        yield from _number(f"{key} (player {SHOWN_PLAYER})", getattr(player, key),
                           player.unit(key), player.source(key))
    limits = harp_limits(rules_folder() / "harps" / f"{SHOWN_HARP}.toml")
    for key in found.harp:
        value, unit, source = limits[key]
        shown = ", ".join(value) if isinstance(value, list) else value
        yield from _number(f"{key} (harp {SHOWN_HARP})", shown, unit, source)


def _number(key: str, value: object, unit: str, source: str) -> Iterator[str]:
    plain = f"{value:g}" if isinstance(value, float) else str(value)
    name = key.replace("_", " ")
    shown = f"{unit} {plain}" if isinstance(value, HarpString) else f"{plain} {unit}"
    yield from _wrapped(f"{name}: {shown}", "  ", "    ")
    yield from _wrapped(source, "    ", "    ")


def _source(source: RuleSource) -> str:
    if source.kind:
        return f"{source.kind}: {source.note}" if source.note else source.kind
    year = f" ({source.year})" if source.year else ""
    place = f", {source.place}" if source.place else ""
    quote = f": \"{source.quote}\"" if source.quote else ""
    note = f" [{source.note}]" if source.note else ""
    return f"{source.author}, {source.title}{year}{place}{quote}{note}"


def _example(example: Example) -> list[str]:
    lines = _wrapped(f"{'good' if example.good else 'bad '}  {example.says}", "  ", "        ")
    for key, text in example.written:
        lines += _wrapped(f"{key}: {text}", "        ", "          ")
    return lines


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest)


def _clip(line: str) -> str:
    return line if len(line) <= WIDTH else line[:WIDTH - 1].rstrip() + "…"
