"""Start a unit: seconds and litres to water that meets its dose, and what fails on the way."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of


def run(arguments) -> int:
    """Run the start of a case, and what is to happen on the way."""
    from treatsim import cases, errors
    from treatsim.report import startup_text
    from treatsim.report.as_text import as_json
    from treatsim.running.ro_start import membrane_start
    from treatsim.running.start_events import read_events
    from treatsim.running.startup import startup

    form = form_of(arguments, ".txt", ".json")
    events = read_events(arguments.event or ())
    case = cases.load(arguments.case, changes(arguments))
    units = case.flowsheet().units.values()
    lit = any(unit.irradiates for unit in units)
    salty = any(unit.semipermeable for unit in units)
    if not lit and (events or not salty):
        what = "an event needs a reactor with a light" if events else "neither light nor membranes"
        raise errors.RequestError(f"{case.path}: {what}: there is no start to tell")
    found = startup(case, events) if lit else None
    membranes = membrane_start(case) if salty else None
    told = (case.title, case.path, found, membranes, startup_text.cautions_of(case))
    if form == ".json":
        text = as_json(startup_text.startup_document(*told, arguments.units))
    else:
        text = startup_text.startup_text(*told, arguments.units, colour=colour(arguments))
    deliver(text, arguments.out)
    state = startup_text.state_of(found, membranes)
    return Exit.NOT_MET if state == "not_met" else Exit.DONE


COMMAND = Command(
    run,
    "Start a unit: seconds and litres to water that meets its dose, and what fails on the way.",
    "treatsim startup cases/river.toml --event lamp_failure@600s",
    ("CASE", "--event", "--set", "--json", "--units", "--out"),
)
