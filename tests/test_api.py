"""The public names of the api, which scripts import."""

from __future__ import annotations

import doctest
import inspect
import io
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from arranger import api
from arranger.commands import converting
from tests import api_page
from tests.test_survey import tune

ROOT = Path(__file__).resolve().parents[1]


def test_public_names_stay() -> None:
    assert set(api.__all__) >= {"Progress", "Request", "Result", "SelfCheckError", "check",
                                "convert", "keys_of", "pedals", "settings_for"}
    assert all(hasattr(api, name) for name in api.__all__)


def test_every_public_function_says_what_it_takes_and_raises() -> None:
    for name in set(api.__all__) - {"Progress"}:
        told = getattr(api, name).__doc__ or ""
        assert told, name
        if name[0].islower():
            assert "Raises" in told, name


def test_the_examples_of_the_readme_run() -> None:
    blocks = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL)
    assert blocks
    for block in blocks:
        run = subprocess.run([sys.executable, "-c", block], capture_output=True, text=True,
                             check=False, cwd=ROOT)
        assert (run.returncode, run.stderr) == (0, "")
        assert run.stdout.count("\n") == block.count("print(")


def test_the_page_about_the_api_says_what_the_docstrings_say() -> None:
    assert api_page.PAGE.read_text("utf-8") == api_page.page(), "run python -m tests.api_page"


@pytest.mark.parametrize("name", [n for n in api.__all__ if n[0].islower()])
def test_the_examples_of_the_api_run(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    names = {"Path": Path, **{n: getattr(api, n) for n in api.__all__}}
    found = doctest.DocTestFinder(recurse=False).find(getattr(api, name), name, globs=names)
    results = [doctest.DocTestRunner(verbose=False).run(test) for test in found]
    assert sum(r.attempted for r in results) > 0
    assert sum(r.failed for r in results) == 0


def test_the_api_is_typed_for_those_who_use_it() -> None:
    assert (ROOT / "arranger" / "py.typed").exists()
    for name in api.__all__:
        thing = getattr(api, name)
        if inspect.isfunction(thing):
            assert thing.__annotations__.keys() == {*inspect.signature(thing).parameters, "return"}


def test_a_draft_that_reads_otherwise_than_meant_is_not_published(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, right = tmp_path / "tune.musicxml", converting.write
    path.write_text(tune("C4", "D4"))
    monkeypatch.setattr(converting, "write", lambda *a, **k: right(*a, **k).replace(b">D<", b">E<"))
    with pytest.raises(api.SelfCheckError, match="bar 7: the written draft does not have"):
        api.convert(api.Request(path, page=False), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_bundle_holds_what_is_needed_to_see_the_answer_again(tmp_path: Path) -> None:
    path = tmp_path / "tune.musicxml"
    path.write_text(tune("C4", "D4"))
    one, two = (api.convert(api.Request(path, page=False, bundle=True)) for _ in range(2))
    assert one.files == two.files
    with zipfile.ZipFile(io.BytesIO(one.files["bundle.zip"])) as archive:
        assert set(archive.namelist()) == {"README.txt", "source/tune.musicxml", "report.json",
                                           "versions.txt", "draft/draft.musicxml",
                                           "draft/draft.mid"}
        assert archive.read("source/tune.musicxml") == path.read_bytes()
        assert archive.read("report.json") == one.files["report.json"]
        assert str(tmp_path) not in archive.read("report.json").decode()
        assert "numpy" in archive.read("versions.txt").decode()
