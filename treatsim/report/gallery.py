"""Pictures of cases, the numbers behind them, and a page that says what each teaches."""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from treatsim import cases
from treatsim.case_text import STANDARD_INPUT
from treatsim.errors import NoSolutionError, RequestError
from treatsim.report import plots
from treatsim.report.files import write_whole
from treatsim.report.plots import style, table

PAGE = "README.md"
CASES_FOLDER, GALLERY_FOLDER = "cases", "figures"
# pictures of what a browser shows, taken by tests/screens.py:
# file -> title and words
SHOTS = {
    "river_chlorine-sheet-front.png": (
        "Field sheet, front",
        "`treatsim sheet cases/river_chlorine.toml --out sheet.pdf`: what the operators keep.",
    ),
    "river_chlorine-sheet-back.png": (
        "Field sheet, back",
        "Chlorine for this bottle, faults, the log, and what the water was not tested for.",
    ),
    "river-page-phone.png": (
        "The page with dials, on a phone",
        "`treatsim page cases/river.toml --out page.html`, the pump turned up to full speed: one "
        "file, no network; what helps stands in the words of the command line.",
    ),
    "river-page-desk.png": (
        "The page with dials, on a desk",
        "The same file as it opens: every limit with its value, the window of two dials, the "
        "numbers to write down.",
    ),
}
RASTERED = ("flowsheet", "uv_window", "energy_split")  # also as PNG in the gallery


class Caption(NamedTuple):
    """What the docstring of a plot says."""

    title: str
    lesson: str  # one sentence
    detail: str
    sources: str


class Picture(NamedTuple):
    """One plot of one case, or of several side by side."""

    plot: str
    cases: tuple[Any, ...]

    @property
    def stem(self) -> str:
        """Name of its files, without ending."""
        names = [] if plots.together(plots.plot(self.plot)) else [Path(self.cases[0].path).stem]
        return "-".join([*names, *self.plot.split("_")])

    @property
    def named(self) -> str:
        """The cases by title and file."""
        return "; ".join(f"{case.title} ({Path(case.path).name})" for case in self.cases)


def caption(module: Any) -> Caption:
    """Read a plot's caption out of its docstring."""
    title, lesson, detail, sources = (
        " ".join(part.split()) for part in module.__doc__.split("\n\n")
    )
    return Caption(title, lesson, detail, sources.removeprefix("Sources: "))


def chosen(found: Sequence[Any]) -> list[Picture]:
    """Return every picture that applies to the cases given."""
    pictures = []
    for name in plots.NAMES:
        module = plots.plot(name)
        fitting = tuple(case for case in found if module.applies(case))
        if plots.together(module):
            pictures += [Picture(name, fitting)] if fitting else []
        else:
            pictures += [Picture(name, (case,)) for case in fitting]
    return pictures


def gallery() -> list[Picture]:
    """Return the pictures of the checkout's own cases; RequestError outside a checkout."""
    folder = Path(CASES_FOLDER)
    if not (folder.is_dir() and Path("pyproject.toml").is_file()):
        raise RequestError(
            "name a case, such as: treatsim figures camp.toml (without one, the "
            "gallery of a checkout's cases/ is drawn, and this is no checkout)"
        )
    known = {path.stem: path for path in sorted(folder.glob("*.toml"))}
    pictures = []
    for name in plots.NAMES:
        module = plots.plot(name)
        wanted = [cases.load(known[stem]) for stem in module.CASES if stem in known]
        groups = [tuple(wanted)] if plots.together(module) else [(case,) for case in wanted]
        pictures += [Picture(name, group) for group in groups if group]
    return pictures


def of_cases(paths: Iterable[str]) -> list[Picture]:
    """Return the pictures of the case files named."""
    found, problems = [], []
    for path in paths:
        try:
            found.append(cases.load(path))
        except RequestError as error:
            problems += error.problems
    if problems:
        raise RequestError(problems)
    stems = [Path(case.path).stem for case in found]
    if len(set(stems)) < len(stems):
        raise RequestError("two of the cases have the same file name: their pictures would too")
    for case in found:
        result = case.solve()
        if not result.solved[0]:
            raise NoSolutionError(f"{case.path}: no operating point: {result.reason(0)}")
    return chosen(found)


def drawn(picture: Picture, rasters: Sequence[str] = (), before: str = "") -> dict[str, bytes]:
    """Return the files of one picture by name.

    Numbers that only the last digits tell from those of `before` stay, so that a picture changes
    for a reason.
    """
    module = plots.plot(picture.plot)
    data = module.data(picture.cases if plots.together(module) else picture.cases[0])
    numbers = table.as_csv(data)
    if before and table.alike(before, numbers):
        numbers = before
    with warnings.catch_warnings():  # a title in letters that the font lacks is still drawn
        warnings.filterwarnings("ignore", "Glyph .* missing")
        return _rendered(picture, numbers, rasters)


def _rendered(picture: Picture, numbers: str, rasters: Sequence[str]) -> dict[str, bytes]:
    figure = plots.plot(picture.plot).draw(table.from_csv(numbers))
    style.sign(figure, signature(picture))
    files = {
        f"{picture.stem}.csv": numbers.encode("utf-8"),
        f"{picture.stem}.svg": style.render(figure),
    }
    if picture.plot in rasters:
        files[f"{picture.stem}.png"] = style.render(figure, "png")
    return files


def signature(picture: Picture) -> str:
    """Return the line under a plot: which case, and where its models come from."""
    return f"{picture.named}. Sources: {caption(plots.plot(picture.plot)).sources}."


def page(pictures: Sequence[Picture], shots: Mapping[str, tuple[str, str]] | None = None) -> str:
    """Return the page that shows and explains the pictures; `shots` are by file name."""
    parts = [
        "# Figures",
        "Drawn by `treatsim figures`; beside each picture lie the numbers behind it. Demo cases "
        "are invented. `treatsim sources KEY` says where a model comes from.",
    ]
    for name in dict.fromkeys(picture.plot for picture in pictures):
        words = caption(plots.plot(name))
        parts += [f"## {words.title}", words.lesson, f"{words.detail} Sources: {words.sources}."]
        for picture in pictures:
            if picture.plot == name:
                parts += [
                    f"![{words.title}: {picture.stem}]({picture.stem}.svg)",
                    f"{picture.named}. Numbers: [{picture.stem}.csv]({picture.stem}.csv)",
                ]
    for file, (title, words_of_it) in (shots or {}).items():
        parts += [f"## {title}", words_of_it, f"![{title}]({file})"]
    return "\n\n".join(parts) + "\n"


def write(
    pictures: Sequence[Picture],
    folder: str | Path,
    rasters: Sequence[str] = (),
    report: Callable[[int, int], None] = lambda done, total: None,
) -> list[str]:
    """Draw everything, then write it; returns the names of the files.

    Nothing is written unless every picture could be drawn.
    """
    folder = Path(folder)
    files: dict[str, bytes] = {}
    for number, picture in enumerate(pictures):
        report(number, len(pictures))
        files |= drawn(picture, rasters, _before(folder / f"{picture.stem}.csv"))
    taken = {name: told for name, told in SHOTS.items() if (folder / name).is_file()}
    files[PAGE] = page(pictures, taken).encode("utf-8")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RequestError(
            f"--out {folder}: no directory can be made there: {(error.strerror or 'error').lower()}"
        ) from error
    for name, content in files.items():
        write_whole(folder / name, content)
    return list(files)


def _before(file: Path) -> str:
    """Return the numbers of an earlier run; "" where there are none that can be read."""
    try:
        text = file.read_text("utf-8")
        table.from_csv(text)
    except (OSError, ValueError):
        return ""
    return text


def default_folder(paths: Sequence[str]) -> str:
    """Return where pictures go if nothing is said: beside nobody else's files."""
    if not paths:
        return GALLERY_FOLDER
    if paths[0] == STANDARD_INPUT:
        return "case-figures"
    return re.sub(r"\.toml$", "", Path(paths[0]).name) + "-figures"
