"""The contract of layers, sizes and names, read from the source; ruff and mypy where installed."""

from __future__ import annotations

import ast
import importlib.util
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "arranger"
MODULES = sorted(PACKAGE.rglob("*.py"))

#: From the top down; a module imports only from layers below its own.
LAYERS = (("__main__",), ("cli",), ("web",), ("api",), ("commands",), ("options",), ("passes",),
          ("checks",), ("plan",), ("io", "report"), ("rulebook", "search"), ("model",),
          ("limits",))
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
#: Within these layers no module imports another, but for the exceptions.
INDEPENDENT = ("passes", "checks")
#: Who may be imported by its neighbours (and which names, if not all), and why.
SHARED = {
    "checks.levers": (("lever_findings",), "what is said of levers, in a draft or a part"),
    "checks.marked_levers": ((), "what a player does who follows the lever marks of a part"),
    "passes.settings": ((), "what every stage is given besides the draft"),
    "passes.start": ((), "the draft every stage begins with, and which staff is which hand"),
    "passes.jumps": ((), "where the music jumps, which pins pedals and opens sections"),
    "passes.piece": ((), "a draft laid out for the searches"),
    "passes.on_strings": ((), "how what a path chose is written into a draft"),
    "passes.in_hands": (("set_scene", "loss_reasons", "put_in_hands"), "the same of the hands"),
    "checks.case": ((), "the part under examination, given to every family of checks"),
    "checks.pedal_changes": (("Change", "changes", "foot_time", "later_beat", "marked_at"),
                             "the letters wanted anew, for what the feet and the strings say"),
    "checks.chords": (("playable_together", "spelled_clashes"), "what can be plucked at once"),
    "passes.pipeline": (("mark_pedals",), "the planner itself, for a part as it stands"),
    "passes.inspect": (("Inspection",), "what was found in a part, for its plan"),
    "passes.feet": (("move_pedals",), "the timing of pedals, for a part that needs no search"),
    "passes.fingers": (("finger_as_read",), "fingers as they are read, of a draft or a part"),
    "passes.compass": (("usable", "tuning"), "what a harp can sound as tuned"),
}
#: Who may import its neighbours, and why.
SHARING = {"passes.pipeline": "it is the chain of the stages",
           "passes.inspect": "it runs all families of checks and proves what they offer",
           "passes.ease": "it asks the planner for every level",
           "passes.keys": "it asks the planner in every key"}
ONLY_IO = {"lxml", "music21"}
FORBIDDEN_NAMES = {"utils", "util", "helpers", "helper", "common", "manager", "misc"}
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "arranger", "rules", "tests",
       "corpus", "out"}
#: Made by tools and ignored by git.
MADE = {"build", "dist", "__pycache__"}


def name_of(path: Path) -> str:
    """Dotted name below ``arranger``; a package has the name of its folder."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


NAMES = {name_of(p): p for p in MODULES}


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


def imports(path: Path) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Modules imported anywhere in a file, inside functions too, with the names taken."""
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            yield from ((alias.name, ()) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: relative import"
            names = tuple(alias.name for alias in node.names)
            own = [n for n in names if f"{node.module}.{n}".removeprefix("arranger.") in NAMES]
            yield from ((f"{node.module}.{n}", ()) for n in own)
            if len(own) < len(names):
                yield node.module or "", tuple(n for n in names if n not in own)


def inner(path: Path) -> list[tuple[str, tuple[str, ...]]]:
    """Imports from this package, named below it."""
    return [(name.removeprefix("arranger").removeprefix("."), names)
            for name, names in imports(path) if name.split(".")[0] == "arranger"]


def layer(name: str) -> str:
    return name.split(".")[0]


def test_every_module_belongs_to_a_layer():
    assert [n for n in NAMES if n and layer(n) not in LEVEL] == []


def test_modules_import_only_from_layers_below():
    faults = [f"{name} imports {other}" for name, path in NAMES.items()
              for other, _ in inner(path) if layer(other) != layer(name)
              and (not other or LEVEL[layer(other)] <= LEVEL[layer(name)])]
    assert faults == []


def test_families_and_stages_do_not_import_one_another():
    faults, used = [], set()
    for name, path in NAMES.items():
        if layer(name) not in INDEPENDENT or name in SHARING:
            continue
        for other, names in inner(path):
            if layer(other) != layer(name):
                continue
            allowed = SHARED.get(other, (None, ""))[0]
            if allowed is None or (allowed and not set(names) <= set(allowed)):
                faults.append(f"{name} imports {other} {names}")
            used.add(other)
    assert faults == []
    assert sorted(SHARED.keys() - used) == []


def test_there_are_no_rings_of_imports():
    graph = {name: [o for o, _ in inner(path)] for name, path in NAMES.items()}
    done: set[str] = set()

    def follow(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " -> ".join((*trail[trail.index(name):], name))
        if name not in done:
            for other in graph[name]:
                follow(other, (*trail, name))
            done.add(name)

    for name in graph:
        follow(name, ())


def test_only_io_knows_the_libraries_of_the_formats():
    faults = [f"{name} imports {other}" for name, path in NAMES.items() if layer(name) != "io"
              for other, _ in imports(path) if other.split(".")[0] in ONLY_IO]
    assert faults == []


def test_what_is_slow_to_import_is_imported_only_when_it_is_needed():
    faults = [name for name, path in NAMES.items() for node in tree(path).body
              if isinstance(node, ast.Import | ast.ImportFrom)
              and any(slow in ast.unparse(node) for slow in ("music21", "scipy"))]
    assert faults == []


def test_packages_hold_a_docstring_and_nothing_else():
    for path in PACKAGE.rglob("__init__.py"):
        body = tree(path).body
        assert len(body) == 1, path
        assert ast.get_docstring(tree(path)), path


def test_no_module_is_long_and_no_function():
    long = [f"{name}: {count} lines" for name, path in NAMES.items()
            if (count := len(path.read_text("utf-8").splitlines())) > 400]
    long += [f"{name}.{node.name}: {count} lines" for name, path in NAMES.items()
             for node in ast.walk(tree(path))
             if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
             and (count := (node.end_lineno or 0) - node.lineno + 1) > 60]
    assert long == []


def test_modules_have_names_that_say_something():
    assert [n for n in NAMES if FORBIDDEN_NAMES & set(n.split("."))] == []


def test_the_top_of_the_repository_stays_small():
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")
             and p.name not in MADE and p.suffix != ".egg-info"}
    assert found - TOP == set()
    assert TOP - found == set()


@pytest.mark.parametrize("command", [("ruff", "check", "."), ("mypy",)], ids=lambda c: c[0])
def test_lint_and_types(command):
    if importlib.util.find_spec(command[0]) is None:
        pytest.skip(f"{command[0]} is not installed; it comes with the dev extra")
    done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True,
                          text=True, check=False)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]
