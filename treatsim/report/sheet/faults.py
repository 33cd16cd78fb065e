"""What you see, what it means, what to do; and the log to be filled in."""

from __future__ import annotations

from typing import NamedTuple

from treatsim.report.sheet.blocks import Block, Grid
from treatsim.report.sheet.dial import dial_of, set_at
from treatsim.report.sheet.facts import Facts

HEAD, LOG_HEAD = "FAULTS", "LOG: A LINE EVERY HOUR"


class Fault(NamedTuple):
    """One line, and what a train must have for it: "filters", "light", "chlorine", ..."""

    needs: str
    seen: str
    means: str
    do: str


# common practice, no source
FAULTS = (
    Fault("filters", "drop rises slowly", "filter loads",
          "correct for temperature; change at its value"),
    Fault("filters", "drop rises within hours", "storm, algae, stirred mud, iron, cold",
          "look at turbidity and temperature; move the intake or wait"),
    Fault("filters", "drop falls at once, flow up", "element burst or not seated",
          "STOP; open; new element; boil until tests are clear"),
    Fault("filters", "housings warm and cold side by side", "air lock, shut valve, one full",
          "vent; open; change in pairs"),
    Fault("pump", "flow and drop both down", "intake clogged, low water, pump worn, kink",
          "clear the intake; straighten the hose; read the volts"),
    Fault("pump", "pump runs, no water", "below its least speed, air, shut valve, dry",
          "prime; turn up within the dial table; never run it dry"),
    Fault("light", "lamp or indicator dark", "lamp, ballast, plug, low volts",
          "STOP; swap in that order; start anew"),
    Fault("light", "sensor down, lamp lit", "fouled sleeve, duller water, old lamp, sensor",
          "wipe the sleeve; measure the water; less flow by table 4; read the hours"),
    Fault("clarity", "turbidity behind the filters up, drop normal", "bypass, new element, bubbles",
          "STOP above the limit; waste; let a sample stand; seals"),
    Fault("chlorine", "free chlorine fades faster", "more demand, warmth, sun, weak bottle",
          "jars anew; fresh bottle; shade the tank"),
    Fault("chlorine", "colour flashes and fades, or raw water colours", "over 10 mg/L; manganese",
          "dilute the sample tenfold; read a blank"),
    Fault("chlorine", "chlorine good, germs found", "dirty cans, bypass, hardy germs",
          "sample outlet, tank and can; boil until clear"),
    Fault("membranes", "salt of the product up slowly", "warmer, fouled or ageing membrane",
          "compare at equal temperature; clean"),
    Fault("membranes", "salt up at once", "O-ring, brine seal, torn element, tide",
          "STOP; probe the elements; read the feed"),
    Fault("membranes", "product down, first elements drop more", "fouling at the front",
          "silt density; last filter; clean"),
    Fault("membranes", "product down, salt up", "scale at the back",
          "less recovery; check the antiscalant; clean"),
    Fault("", "raw water changes colour, smell or salt", "discharge, tide, rain",
          "STOP; ask upstream; measure anew"),
)  # fmt: skip


def has(facts: Facts) -> set[str]:
    """Return what the train has, in the words of the table."""
    marks = {
        "": True,
        "pump": bool(facts.units("moves_water")),
        "filters": bool(facts.filters),
        "light": bool(facts.units("irradiates")),
        "chlorine": bool(facts.with_hazard("chlorine")),
        "membranes": bool(facts.units("semipermeable")),
    }
    marks["clarity"] = marks["filters"] and (marks["light"] or marks["chlorine"])
    return {mark for mark, there in marks.items() if there}


def fault_block(facts: Facts) -> Block:
    """Return the faults that this train can have."""
    there = has(facts)
    rows = tuple((f.seen, f.means, f.do) for f in FAULTS if f.needs in there)
    return Block(HEAD, (Grid(("you see", "it means", "do"), rows, left=3),))


def log_block(facts: Facts) -> Block:
    """Return the heads of the log, and as its first line what this sheet computes."""
    rows = [("day, hour", "computed"), ("hour meter", ""), *_moved(facts), *_read(facts)]
    rows += [("out [L]", ""), ("who", "")]
    heads, first = zip(*rows, strict=True)
    return Block(LOG_HEAD, (Grid(tuple(heads), (tuple(first),), left=1),))


def _moved(facts: Facts) -> list[tuple[str, str]]:
    rows = []
    dial = dial_of(facts)
    quantity, now = set_at(facts, dial) if dial else ("", None)
    if now is not None:
        rows.append((facts.head("dial", quantity), facts.number(now, quantity, 4)))
    flow = facts.value("product.flow") if facts.has("product.flow") else None
    if flow is not None:
        rows.append((facts.head("product", "flow"), facts.number(flow.value, "flow")))
    for name in facts.filters:
        drop = facts.value(f"{name}.pressure_drop").value
        rows.append((facts.head(f"drop {name}", "pressure_difference"),
                     facts.number(drop, "pressure_difference")))  # fmt: skip
    return rows


def _read(facts: Facts) -> list[tuple[str, str]]:
    warm = facts.field("water.temperature")[1]
    rows = [(facts.head("water", "temperature"),
             "" if warm is None else facts.number(warm, "temperature"))]  # fmt: skip
    there = has(facts)
    if "clarity" in there or "filters" in there:
        rows += [("raw NTU", ""), ("NTU filtered", "")]
    for name in facts.units("irradiates"):
        rows += [(f"sensor {name}", ""), ("lamp hours", "")]
    for name in facts.units("semipermeable"):
        pressure = facts.value(f"{name}.feed.pressure")
        rows += [(facts.head(f"{name} in", "pressure"), facts.number(pressure.value, "pressure"))]
    if "membranes" in there:
        rows += [("uS/cm in", ""), ("uS/cm out", "")]
    if "chlorine" in there:
        rows += [("chlorine tank", ""), ("chlorine tap", ""), ("mL dosed", "")]
    return rows
