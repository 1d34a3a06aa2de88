"""The page about the Python API, made from its docstrings: ``python -m tests.api_page`` writes it.

``tests/test_api.py`` holds that the page is what the docstrings say, and runs their examples.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from pathlib import Path

from arranger import api

PAGE = Path(__file__).resolve().parents[1] / "arranger" / "API.md"
_HEAD = """# From Python

Made from the docstrings by `python -m tests.api_page`; the examples are run by the tests, from the
folder of this project, after `from pathlib import Path` and `from arranger.api import *`.
"""


def page() -> str:
    """Return the page in Markdown."""
    lines = [_HEAD, (inspect.getdoc(api) or "").replace("``", "`"), ""]
    functions = [name for name in api.__all__ if inspect.isfunction(getattr(api, name))]
    classes = [name for name in api.__all__ if inspect.isclass(getattr(api, name))]
    for name in (*functions, *classes):
        thing = getattr(api, name)
        lines += [f"## `{name}`", "", "```python", _signature(name, thing), "```", "",
                  *_sections(inspect.getdoc(thing) or "")]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines)).rstrip() + "\n"


def _signature(name: str, thing: object) -> str:
    """Say how it is called, a parameter a line."""
    if inspect.isclass(thing) and issubclass(thing, Exception):
        return f"class {name}({thing.__bases__[0].__name__})"
    called = inspect.signature(thing)  # type: ignore[arg-type]
    told = [_parameter(p) for p in called.parameters.values()]
    head = f"class {name}(" if inspect.isclass(thing) else f"{name}("
    end = ")" if inspect.isclass(thing) else f") -> {called.return_annotation}"
    return "\n".join([head, *(f"    {line}," for line in told), end])


def _parameter(parameter: inspect.Parameter) -> str:
    told = f"{parameter.name}: {parameter.annotation}"
    if parameter.default is inspect.Parameter.empty:
        return told
    default = "..." if callable(parameter.default) else repr(parameter.default)
    return f"{told} = {default}"


def _sections(told: str) -> Iterator[str]:
    """Turn the sections of a numpydoc docstring into Markdown."""
    first, *rest = re.split(r"(?m)^(\w+)\n-{3,}\n", told)
    yield from (first.replace("``", "`"), "")
    for title, text in zip(rest[::2], rest[1::2], strict=True):
        yield f"**{title}**\n"
        if title == "Examples":
            yield f"```python\n{text.strip()}\n```\n"
        else:
            yield from _entries(text)
            yield ""


def _entries(text: str) -> Iterator[str]:
    """Give each entry a line: ``name : what it is``, or names with an indented text below."""
    joined = re.sub(r"\n[ ]+", " ", text.strip())
    for line in joined.splitlines():
        if not line:
            continue
        names, colon, words = line.partition(" : ")
        if not colon:
            names, words = re.match(r"((?:\w+, )*\w+) (.*)", line).groups()  # type: ignore[union-attr]
        yield f"- `{names}`: {words.replace('``', '`')}"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
