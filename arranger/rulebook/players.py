"""Load a player's hands and feet from ``rules/players``.

The limits say what is asked of this player, not what the player should train towards. They are
settings: a player changes them freely, stops at pain, and a teacher or a doctor decides what is
healthy, never this program.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from functools import cache
from pathlib import Path

from arranger.model.errors import ChoiceError, RuleError
from arranger.model.harp import HarpString
from arranger.model.pitch import Pitch
from arranger.rulebook.files import Table, named_file, need, read_toml, refuse_unknown


@dataclass(frozen=True, slots=True)
class Player:
    """Limits of one player. Spans count string steps: a second is 1, a tenth is 9.

    Times are in seconds, hand limits are strings. Where each value comes from is told by
    ``source``; what each key means stands in the player file.
    """

    name: str
    title: str
    fingers_per_hand: int
    span_steps: int
    rolled_span_steps: int
    comfortable_span_steps: int
    finger_pair_1_2_steps: int
    finger_pair_2_3_steps: int
    finger_pair_3_4_steps: int
    one_hand_run_notes: int
    right_hand_lowest: HarpString
    right_hand_highest: HarpString
    left_hand_lowest: HarpString
    left_hand_highest: HarpString
    foot_move_seconds: float
    foot_two_notch_seconds: float
    foot_sustained_seconds: float
    pedal_lead_seconds: float
    lever_move_seconds: float
    restrike_error_seconds: float
    restrike_warning_seconds: float
    restrike_free_seconds: float
    wire_restrike_factor: float
    placing_lead_seconds: float
    collision_seconds: float
    travel_steps_per_second: float
    afresh_seconds: float
    same_finger_seconds: float
    grip_memory_seconds: float
    roll_note_seconds: float
    roll_share_of_value: float
    units: Mapping[str, str] = field(default_factory=dict, compare=False, repr=False)
    sources: Mapping[str, str] = field(default_factory=dict, compare=False, repr=False)

    def source(self, key: str) -> str:
        """Where the value of this key comes from; KeyError for a key that is no limit."""
        return self.sources[key]

    def unit(self, key: str) -> str:
        """Unit of the value of this key; KeyError for a key that is no limit."""
        return self.units[key]

    def again_seconds(self, *, wire: bool) -> float:
        """Seconds after which a string may be plucked again without a word; wire wants more."""
        return self.restrike_warning_seconds * (self.wire_restrike_factor if wire else 1.0)

    @property
    def finger_pairs(self) -> tuple[int, int, int]:
        """String steps that neighbouring fingers span: 1 and 2, 2 and 3, 3 and 4."""
        return (self.finger_pair_1_2_steps, self.finger_pair_2_3_steps,
                self.finger_pair_3_4_steps)

    @property
    def keys(self) -> tuple[str, ...]:
        """Names of all limits, in the order of the attributes."""
        return tuple(self.sources)


_LIMITS = {f.name: str(f.type) for f in fields(Player)
           if f.name not in ("name", "title", "units", "sources")}
#: Pairs of limits of which the first may not exceed the second.
_ORDERED = (("comfortable_span_steps", "span_steps"), ("span_steps", "rolled_span_steps"),
            ("right_hand_lowest", "right_hand_highest"), ("left_hand_lowest", "left_hand_highest"),
            ("foot_move_seconds", "foot_two_notch_seconds"),
            ("foot_move_seconds", "foot_sustained_seconds"),
            ("restrike_error_seconds", "restrike_warning_seconds"),
            ("restrike_warning_seconds", "restrike_free_seconds"))


def load_player(name_or_path: str | Path) -> Player:
    """Load a player by the name of a file in ``rules/players`` or by the path of a TOML file.

    A file may name a ``base``: what it leaves out is taken from that player of the rulebook.

    Raises
    ------
    ChoiceError
        If the name is unknown; lists the names there are.
    RuleError
        If the file is wrong; names the file and the key.
    """
    text = str(name_or_path)
    if text.endswith(".toml"):
        return _read(Path(text))
    return _named(text)


def with_limits(player: Player, limits: Sequence[str]) -> Player:
    """Return the player with single limits set anew: ``span_steps=8``, ``left_hand_lowest=C2``.

    Raises
    ------
    ChoiceError
        If it is not NAME=VALUE, there is no such limit, or the value cannot be one.
    """
    if not limits:
        return player
    values = {key: getattr(player, key) for key in _LIMITS}
    sources, units = dict(player.sources), dict(player.units)
    for text in limits:
        key, _, given = text.partition("=")
        key = key.strip().replace("-", "_")
        if key not in _LIMITS:
            raise ChoiceError(f"no limit {key!r} of a player; the limits are: {', '.join(_LIMITS)}")
        entry = {"value": _typed(given.strip()), "unit": units[key]}
        try:
            values[key] = _value(entry, _LIMITS[key], Path("--limit"), key)
        except RuleError as error:
            raise ChoiceError(str(error)) from error
        sources[key] = "set by the user"
    for small, large in _ORDERED:
        if values[small] > values[large]:
            raise ChoiceError(f"--limit: {small} is larger than {large}; set both")
    return Player(player.name, player.title, **values, units=units, sources=sources)


def _typed(text: str) -> int | float | str:
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


@cache
def _named(name: str) -> Player:
    return _read(named_file("players", name, "player"))


def _read(path: Path) -> Player:
    table = read_toml(path)
    refuse_unknown(table, {"title", "base", *_LIMITS}, path)
    base = _named(need(table, "base", str, path)) if "base" in table else None
    values: dict[str, int | float | HarpString] = {}
    units: dict[str, str] = {}
    sources: dict[str, str] = {}
    for key, kind in _LIMITS.items():
        if base is not None and key not in table:
            values[key], units[key] = getattr(base, key), base.unit(key)
            sources[key] = base.source(key)
            continue
        entry = need(table, key, dict, path)
        refuse_unknown(entry, ("value", "unit", "source"), path, f"{key}.")
        values[key] = _value(entry, kind, path, key)
        units[key] = need(entry, "unit", str, path, f"{key}.")
        sources[key] = need(entry, "source", str, path, f"{key}.")
    for small, large in _ORDERED:
        if values[small] > values[large]:  # type: ignore[operator]  # both of one kind
            raise RuleError(f"{path}: {small} is larger than {large}")
    title = need(table, "title", str, path)
    return Player(path.stem, title, **values, units=units, sources=sources)  # type: ignore[arg-type]


def _value(entry: Table, kind: str, path: Path, key: str) -> int | float | HarpString:
    if kind == "HarpString":
        name = need(entry, "value", str, path, f"{key}.")
        try:
            return HarpString.of(Pitch.parse(name))
        except ValueError as error:
            raise RuleError(f"{path}: {key}.value must be a string such as G2: {error}") from error
    value = need(entry, "value", int if kind == "int" else float, path, f"{key}.")
    if not 0 < value < 1000:
        raise RuleError(f"{path}: {key}.value must be above 0 and below 1000, not {value!r}")
    return value
