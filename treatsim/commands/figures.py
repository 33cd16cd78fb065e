"""Draw the design plots of cases (none named: the gallery of a checkout) and their numbers."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit
from treatsim.console import deliver


def run(arguments) -> int:
    """Draw the design plots of cases, or the gallery of a checkout."""
    from treatsim.report import gallery, plots
    from treatsim.report.progress import Progress

    pictures = gallery.of_cases(arguments.cases) if arguments.cases else gallery.gallery()
    folder = arguments.out or gallery.default_folder(arguments.cases)
    rasters = plots.NAMES if arguments.png else () if arguments.cases else gallery.RASTERED
    with Progress("pictures") as progress:
        names = gallery.write(pictures, folder, rasters, progress)
    deliver("".join(f"{folder}/{name}\n" for name in names), None)
    return Exit.DONE


COMMAND = Command(
    run,
    "Draw the design plots of cases (none named: the gallery of a checkout) and their numbers.",
    "treatsim figures cases/river.toml --out river-figures",
    ("[CASES]", "--png", "--out DIR"),
)
