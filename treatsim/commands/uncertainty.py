"""Say how sure the answer is, and which input moves it most."""

from __future__ import annotations

import os
from importlib.util import find_spec

from treatsim import errors
from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of, tell

MOST = 2**24


def run(arguments) -> int:
    """Solve and judge samples of the uncertain inputs."""
    # Pieces run side by side; threads of small matrix products would only wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # read when NumPy is loaded
    from treatsim import cases
    from treatsim.report.as_text import as_json
    from treatsim.report.progress import Progress
    from treatsim.report.uncertainty_text import uncertainty_document, uncertainty_text
    from treatsim.studies.sensitivity import sensitivity, swings
    from treatsim.studies.uncertainty import SAMPLES, uncertainty

    form = form_of(arguments, ".txt", ".json")
    case = cases.load(arguments.case, changes(arguments))
    with Progress("samples") as progress:
        told = uncertainty(
            case,
            samples=samples_of(arguments.samples, SAMPLES),
            show=arguments.show or (),
            progress=progress,
        )
    wanted = {address: quantity for address, (quantity, _) in told.results.items()}
    moved = swings(case, told.inputs, wanted)
    if find_spec("SALib"):
        movers = sensitivity(case, told.inputs, wanted)
    else:
        movers = {}
        tell('shares of the variance are worked out by SALib: pip install "treatsim[uncertainty]"')
    if form == ".json":
        text = as_json(uncertainty_document(told, moved, movers, arguments.units))
    else:
        text = uncertainty_text(told, moved, movers, arguments.units, colour=colour(arguments))
    deliver(text, arguments.out)
    if told.answered < 1:
        tell(f"{told.answered:.2%} of the samples have an operating point")
    return Exit.DONE if told.sure and not told.nominal.broken[0] else Exit.NOT_MET


def samples_of(text: str | None, usual: int) -> int:
    """Return the number of samples asked for."""
    if text is None:
        return usual
    if not text.isdigit() or not 256 <= int(text[:12]) <= MOST:
        raise errors.RequestError(f"--samples {text}: a whole number, 256 to {MOST}")
    return int(text)


COMMAND = Command(
    run,
    "Say how sure the answer is: the chance that each limit is met, and what moves it most.",
    "treatsim uncertainty cases/river.toml --samples 16384",
    ("CASE", "--samples", "--show", "--set", "--json", "--units", "--out"),
)
