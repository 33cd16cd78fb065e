"""The largest flow at which the light still meets its dose, by clarity of the water and lamp."""

from __future__ import annotations

import io
from typing import Any, NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.errors import NoSolutionError, RequestError
from treatsim.operations.sheets import sheet_of
from treatsim.report.plots import style
from treatsim.report.sheet.blocks import Block, Grid, Part, Picture, Words
from treatsim.report.sheet.facts import Facts, column, untold

HEAD = "LARGEST FLOW BY CLARITY OF THE WATER AND LAMP"
CLARITY = "water.uv_transmittance"
ROUND = (0.95, 0.90, 0.85, 0.80, 0.75, 0.70)  # per cm
AGES = (1.0, 0.9, 0.8, 0.7)  # output over new
LIFE = (0.0, 0.25, 0.5, 0.75, 1.0)  # of the hours of a lamp
WIDTH, SHAPE = 3.6, 0.56  # of the chart: inches, and height over width
DOTS = 300  # per inch
SMALL: dict[Any, Any] = dict.fromkeys(
    ("font.size", "axes.labelsize", "xtick.labelsize", "ytick.labelsize"), 7
)
OUTSIDE = "stop"


class Lamps(NamedTuple):
    """Ages of a lamp, as the person who turns the pages knows them."""

    address: str
    values: np.ndarray
    words: list[str]
    own: int  # the lamp of the case


class Flows(NamedTuple):
    """Largest flows over clarity (down) and lamps (across)."""

    clarity: np.ndarray
    lamps: Lamps
    flows: np.ndarray  # m3/s; NaN where there is none
    own: int  # the row of the case
    least: float | None  # clarity below which the validation report says nothing


def lamps_of(facts: Facts, name: str) -> Lamps:
    """Return the ages of the table: by hours where the case knows the lamp's, else by output."""
    unit = facts.sheet.units[name]
    field = unit.dials[0]
    now = facts.field(f"{name}.{field}")[1]
    if now is None:
        raise RequestError(f"{name}.{field} is left open")
    record = facts.sheet.units[name].parameters
    given = [one for one in facts.case.given.get(name, ()) if field in one.values]
    if any(one.holds(record) for one in given):
        return _by_hours(facts, name, field, now)
    values = np.array(sorted({*AGES, now}, reverse=True))
    told = "% of new" if field == "ageing_factor" else f"% {field.replace('_', ' ')}"
    words = [f"{100 * value:.3g} {told}" for value in values]
    return Lamps(f"{name}.{field}", values, words, int(np.argmin(np.abs(values - now))))


def _by_hours(facts: Facts, name: str, field: str, now: float) -> Lamps:
    """Return the lamp at shares of its life, and at its hours of today."""
    table = facts.case.data["units"][name]
    sheet: Any = sheet_of(type(facts.sheet.units[name].parameters), "lamp_hours")
    texts = {key: table[key] for key in ("lamp_hours", "lamp_life", "end_of_life_factor")}
    plain = {k: v["value"] if isinstance(v, dict) else v for k, v in texts.items()}
    hours, life = (quantities.read(plain[k], "duration") for k in ("lamp_hours", "lamp_life"))
    end = plain["end_of_life_factor"]
    end = quantities.read(end, "factor") if isinstance(end, str) else float(end)
    burned = sorted({*(share * life for share in LIFE), hours})
    values = [
        sheet(lamp_hours=h, lamp_life=life, end_of_life_factor=end).coefficients()[field]
        for h in burned
    ]
    words = [facts.text(h, "duration", 4) for h in burned]
    return Lamps(f"{name}.{field}", np.array(values), words, burned.index(hours))


def flows_of(facts: Facts, name: str, clarity: np.ndarray | None = None) -> Flows:
    """Return the largest flow at the dose asked for, judged by the same parts as `solve`."""
    now = facts.field(CLARITY)[1]
    if now is None:
        raise RequestError(f"{CLARITY} is not stated as such")
    if clarity is None:
        clarity = np.array(sorted({*ROUND, now}, reverse=True))
    lamps = lamps_of(facts, name)
    down, across = (a.ravel() for a in np.meshgrid(clarity, lamps.values, indexing="ij"))
    verdict = facts.solved({CLARITY: down, lamps.address: across})
    found = column(verdict, f"{name}.largest_flow").reshape(clarity.size, lamps.values.size)
    proof = facts.section("health")
    least = None if proof is None else proof.uv_validated_transmittance
    own = int(np.argmin(np.abs(clarity - now)))
    return Flows(clarity, lamps, found, own, None if least is None else float(least))


def light_blocks(facts: Facts) -> list[Block]:
    """Return the table and the chart of every reactor."""
    blocks = []
    for name in facts.units("irradiates"):
        head = f"4 {HEAD} ({name})"
        if not facts.has(f"{name}.largest_flow"):
            text = f"NOT JUDGED: no dose is asked for; needs {name}.target"
            blocks.append(Block(head, (Words(text, loud=True),)))
            continue
        try:
            blocks.append(Block(head, tuple(_parts(facts, name))))
        except (RequestError, NoSolutionError) as error:
            blocks.append(Block(head, (Words(untold(error)),)))
    return blocks


def _parts(facts: Facts, name: str) -> list[Part]:
    found = flows_of(facts, name)
    now = facts.told(f"{name}.inlet.flow")
    unit = quantities.shown("flow", facts.system)[0]
    heads = ("clear, % per cm", *(f"lamp {words}" for words in found.lamps.words))
    rows = tuple(
        (f"{100 * clarity:.3g}", *(_cell(facts, found, clarity, flow) for flow in row))
        for clarity, row in zip(found.clarity, found.flows, strict=True)
    )
    asked = facts.told(f"{name}.dose_required")
    text = (
        f"Largest flow in {unit} at {asked}; flow of this sheet {now}. In bold: clarity as stated; "
        f"lamp as stated: {found.lamps.words[found.lamps.own]}. Other limits hold as well."
    )
    proof = facts.section("health")
    if found.least is not None:
        text += (
            f" {OUTSIDE}: below {facts.text(found.least, 'uv_transmittance')} per cm the report of "
            "the reactor earns no credit: shut the valve."
        )
    if proof is not None and proof.uv_validated_flow is not None:
        most = facts.text(proof.uv_validated_flow, "flow")
        text += f" No flow is above {most}: its report goes no further."
    line = flows_of(facts, name, np.linspace(found.clarity[-1], found.clarity[0], 41))
    words = "Left of a line its lamp meets the dose; the ring is this sheet."
    picture = Picture(chart(facts, name, line), words, SHAPE)
    return [Words(text), Grid(heads, rows, loud=(found.own,)), picture]


def _cell(facts: Facts, found: Flows, clarity: float, flow: float) -> str:
    if found.least is not None and clarity < found.least * (1 - 1e-9):
        return OUTSIDE
    return OUTSIDE if not flow > 0 else facts.bound(flow, "flow")


def chart(facts: Facts, name: str, found: Flows) -> bytes:
    """Return the chart as a grey PNG: flow across, clarity up, one line for each lamp."""
    import matplotlib as mpl

    with mpl.rc_context(style.SETTINGS | SMALL):
        return grey_png(_drawn(facts, name, found))


def _drawn(facts: Facts, name: str, found: Flows) -> Any:
    from matplotlib.figure import Figure

    figure: Any = Figure(figsize=(WIDTH, WIDTH * SHAPE), layout="constrained", facecolor="white")
    axis = figure.subplots()
    _, factor, _ = quantities.shown("flow", facts.system)
    for number, words in enumerate(found.lamps.words):
        own = number == found.lamps.own
        axis.plot(
            found.flows[:, number] * factor, 100 * found.clarity, color="black",
            linestyle=style.LINES[number % len(style.LINES)], linewidth=2.2 if own else 1.0,
            label=f"lamp {words}{', as stated' if own else ''}",
        )  # fmt: skip
    here = float(np.ravel(facts.value(f"{name}.inlet.flow").value)[0]) * factor
    clarity = 100 * float(facts.field(CLARITY)[1] or 0.0)
    axis.plot([here], [clarity], **{**style.RING, "markeredgecolor": "black"})
    if found.least is not None and found.least > found.clarity[0]:
        axis.axhspan(
            100 * found.clarity[0], 100 * found.least, facecolor="white", edgecolor="0.4",
            hatch="////", linewidth=0.5, label="stop", zorder=3,
        )  # fmt: skip
    unit = style.pretty(quantities.shown("flow", facts.system)[0])
    axis.set(xlim=(0, None), xlabel=f"Flow [{unit}]", ylabel="Clear [% per cm]")
    axis.set_ylim(100 * found.clarity[0], 100 * found.clarity[-1])
    axis.grid(color="0.85")
    axis.legend(loc="upper left", fontsize=6)
    return figure


def grey_png(figure: Any) -> bytes:
    """Return a figure as a PNG without colour, the same bytes every time."""
    from PIL import Image

    buffer, grey = io.BytesIO(), io.BytesIO()
    figure.savefig(buffer, format="png", dpi=DOTS, metadata={"Software": None})
    Image.open(buffer).convert("L").save(grey, format="PNG", optimize=True)
    return grey.getvalue()
