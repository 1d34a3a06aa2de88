"""The README names every command and option, its two commands are whole, its paths exist."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import click
import pytest

from arranger.cli import main

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
BLOCKS = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
#: What a text in backquotes must name if it starts like this.
PATHS = r"`((?:tests|rules|corpus|arranger|out|\.ci)/[\w./-]+|[A-Z]+\.md|pyproject\.toml)`"


def test_every_command_is_in_the_readme():
    assert [name for name in main.commands if f"`arranger {name}" not in README] == []


def test_every_command_of_the_readme_exists():
    named = set(re.findall(r"`arranger (\w+)", README + DEVELOPERS))
    assert named
    assert named - set(main.commands) == set()


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_option_is_in_the_readme(name):
    options = [o for o in main.commands[name].params if isinstance(o, click.Option)]
    missing = [o.opts for o in options if not any(re.search(rf"`{opt}\b", README)
                                                  for opt in o.opts)]
    assert missing == []


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_command_and_option_explains_itself(name):
    command = main.commands[name]
    assert command.help
    assert [p.name for p in command.params if isinstance(p, click.Option) and not p.help] == []


def test_the_two_commands_stand_as_code_blocks():
    first, second = BLOCKS[:2]
    for block in (first, second):
        assert len(block.splitlines()) == 1
        assert block.startswith("python3 -m venv .venv && .venv/bin/pip install")
    assert ".venv/bin/arranger convert corpus/" in first
    assert second.rstrip().endswith(".venv/bin/pytest -n 2 --dist loadfile")
    extra = re.search(r"\.\[(\w+)\]", second)
    assert extra
    assert extra[1] in PROJECT["project"]["optional-dependencies"]
    assert PROJECT["project"]["scripts"]["arranger"] == "arranger.__main__:run"


def test_ci_runs_the_test_command_of_the_readme():
    """The script finds it with this pattern, which must match one line."""
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    pattern = re.search(r"grep -m1 '(.+?)' README\.md", script)
    assert pattern
    assert re.findall(f"(?m){pattern[1]}.*$", README) == [BLOCKS[1].rstrip()]


def test_the_first_command_makes_the_draft_it_promises(tmp_path):
    line = BLOCKS[0].split("&&")[-1]
    _, *arguments = shlex.split(line)
    where = arguments.index("-o") + 1
    promised = set(re.findall(r"`(?:out/[\w-]+/)?((?:report|draft)\.\w+)`", README))
    arguments[where] = str(tmp_path / "draft")
    done = subprocess.run([sys.executable, "-m", "arranger", *arguments], cwd=ROOT, check=False,
                          capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert len(promised) == 4
    assert {p.name for p in (tmp_path / "draft").iterdir()} == promised


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_paths_and_modules_named_in_the_documents_exist(text):
    paths = {p for p in re.findall(PATHS, text) if not p.startswith("out/")}
    assert [p for p in sorted(paths) if "<" not in p and not (ROOT / p).exists()] == []
    modules = set(re.findall(r"python3? -m ((?:tests|arranger)[\w.]*)", text))
    assert [m for m in sorted(modules) if not (ROOT / m.replace(".", "/")).with_suffix(
        ".py").exists()] == []


@pytest.mark.parametrize("status", ["0", "1", "2", "3", "130"])
def test_every_exit_status_is_explained(status):
    section = README[README.index("Exit status"):]
    assert re.search(rf"\b{status} \w", section)
