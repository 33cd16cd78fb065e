"""A description is kept between runs, and made anew once anything it was made of has changed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from command import treatsim

from treatsim import kept
from treatsim.report import description_kept

CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("TREATSIM_CACHE", str(tmp_path / "kept"))
    return tmp_path / "kept"


class Maker:
    """Counts how often a text is made."""

    def __init__(self) -> None:
        self.calls = 0

    def __call__(self) -> str:
        self.calls += 1
        return f"text {self.calls}\n"


def asked(make, *names, json=False):
    return description_kept.description_text(names, json, make)


def test_it_is_made_once(folder):
    make = Maker()
    assert asked(make, "uv_reactor") == asked(make, "uv_reactor") == "text 1\n"
    assert asked(make, "uv_reactor", json=True) == "text 2\n"
    assert asked(make) == "text 3\n"


def test_a_changed_case_is_described_anew_in_the_place_of_the_old(folder, tmp_path):
    case, make = tmp_path / "a.toml", Maker()
    for text in ('title = "one"\n', 'title = "two"\n'):
        case.write_text(text)
        first = asked(make, str(case))
        assert asked(make, str(case)) == first
    assert make.calls == 2
    assert len(list(folder.iterdir())) == 1


def test_a_changed_file_beside_a_case_is_seen(folder, tmp_path):
    case, beside, make = tmp_path / "a.toml", tmp_path / "hours.csv", Maker()
    case.write_text("[sun]\nfile = 'hours.csv' # \"it's\"\n")
    for content in (None, "1\n", "2\n"):
        if content:
            beside.write_text(content)
        assert asked(make, str(case)) == asked(make, str(case))
    assert make.calls == 3


def test_another_folder_has_another_case(folder, tmp_path, monkeypatch):
    make = Maker()
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "case.toml").write_text("x = 1\n")
        monkeypatch.chdir(tmp_path / name)
        asked(make, "case.toml")
    assert make.calls == 2


@pytest.mark.parametrize(
    "change",
    [("stamps", lambda suffixes: "other code"), ("installed", lambda: {"numpy": "0.1"})],
    ids=lambda change: change[0],
)
def test_other_code_and_other_libraries_make_it_anew(folder, monkeypatch, change):
    make = Maker()
    asked(make, "uv_reactor")
    monkeypatch.setattr(kept, *change)
    asked(make, "uv_reactor")
    assert make.calls == 2


def test_all_code_and_all_declared_values_are_looked_at():
    package = kept.PACKAGE
    seen = {Path(name) for name, *_ in kept.stamps(description_kept.MADE_OF)}
    assert seen == {*package.glob("**/*.py"), *package.glob("**/*.toml")}
    assert {path.suffix for path in seen} == {".py", ".toml"}
    assert package / "catalogue" / "ro_elements.toml" in seen
    assert package / "operations" / "uv_reactor.py" in seen


def test_a_file_written_anew_is_seen_though_its_size_and_its_time_stand(tmp_path):
    (tmp_path / "room").mkdir()
    file = tmp_path / "room" / "a.py"
    file.write_text("one")
    first, told = kept.stamps((".py",), tmp_path), file.stat()
    file.write_text("two")
    os.utime(file, ns=(told.st_atime_ns, told.st_mtime_ns))
    kept.stamps.cache_clear()
    assert first != kept.stamps((".py",), tmp_path)


def test_what_cannot_be_looked_at_is_not_kept(folder, tmp_path):
    make = Maker()
    odd = tmp_path / "odd.toml"
    odd.write_text(r'file = "hours\u002ecsv"')
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    piped = tmp_path / "piped.toml"
    piped.write_text('file = "pipe.toml"\n')
    for name in (str(odd), str(pipe), str(piped), "a" * 5000, "-", "/dev/zero"):
        asked(make, name)
        asked(make, name)
    assert make.calls == 12
    assert not folder.exists()


def test_a_damaged_or_foreign_entry_and_a_pipe_in_its_place_are_made_anew(folder):
    make = Maker()
    asked(make, "uv_reactor")
    (entry,) = folder.iterdir()
    whole = entry.read_bytes()
    for content in (b"", whole[:-1], b"T" + whole[1:], b"\xff" * 60):
        entry.write_bytes(content)
        asked(make, "uv_reactor")
    assert make.calls == 5
    asked(make, "ro_vessel")
    (other,) = set(folder.iterdir()) - {entry}
    entry.write_bytes(other.read_bytes())
    assert asked(make, "uv_reactor") == "text 7\n"
    entry.unlink()
    os.mkfifo(entry)
    assert asked(make, "uv_reactor") == "text 8\n"


def test_no_text_under_a_right_checksum_is_made_anew(folder, monkeypatch):
    make, written = Maker(), []
    with monkeypatch.context() as patched:
        patched.setattr(kept, "write", lambda *entry: written.append(entry))
        asked(make, "uv_reactor")
    ((file, digest, _),) = written
    kept.write(file, digest, b"\xff\xfe\x00")
    assert asked(make, "uv_reactor") == "text 2\n"
    assert asked(make, "uv_reactor") == "text 2\n"


def test_a_folder_that_cannot_be_written_is_no_failure(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv("TREATSIM_CACHE", str(tmp_path / "file"))
    make = Maker()
    asked(make, "uv_reactor")
    asked(make, "uv_reactor")
    assert make.calls == 2


def test_a_wrong_case_is_told_each_time(folder, tmp_path):
    case = tmp_path / "a.toml"
    case.write_text("[water]\nkind = 3\n")
    for _ in range(2):
        done = treatsim("describe", case)
        assert done.status == 2
        assert "water.kind" in done.err
    assert not list(folder.glob("described-*"))


@pytest.mark.parametrize("names", [[], ["uv_reactor"], ["sea.toml"], ["sea.toml", "ro.recovery"]])
def test_what_is_kept_is_told_in_the_same_words_without_arrays(
    folder, tmp_path, monkeypatch, names
):
    shutil.copy(CASES / "sea.toml", tmp_path)
    monkeypatch.chdir(tmp_path)
    code = (
        f"import sys; from treatsim.cli import main; main(['describe', *{names!r}]);"
        "print(sorted({'numpy', 'scipy', 'phreeqpython', 'gsw'} & set(sys.modules)))"
    )
    first = treatsim("describe", *names).out
    assert list(folder.glob("described-*"))
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | {"PYTHONPATH": str(kept.PACKAGE.parent)},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    *text, loaded = done.stdout.splitlines()
    assert text == first.splitlines()
    assert loaded == "[]"
