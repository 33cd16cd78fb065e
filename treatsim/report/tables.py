"""Text made for reading: what was asked, the answer first, then how it comes about."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence

from treatsim import quantities
from treatsim.operations.outcome import Limit, Value, at
from treatsim.report.chemistry_text import chemistry_part
from treatsim.report.health_text import health_part, remedies_part
from treatsim.safety.verdict import Verdict

WIDTH = 100
STREAM_COLUMNS = (
    "flow",
    "pressure",
    "turbidity",
    "suspended_solids",
    "uv_transmittance",
    "concentration",
)
HEADINGS = {"uv_transmittance": "UVT per cm", "suspended_solids": "solids", "concentration": "salt"}


class Page:
    """Collects headed tables and lines, and renders them once."""

    def __init__(self, colour: bool) -> None:
        from rich.console import Console

        self.buffer = io.StringIO()
        self.console = Console(
            file=self.buffer,
            width=WIDTH,
            force_terminal=colour,
            no_color=not colour,
            highlight=False,
            soft_wrap=False,
            emoji=False,
            markup=False,
        )

    def line(self, text: str = "", style: str = "") -> None:
        """Add one line."""
        self.console.print(text, style=style or None)

    def head(self, text: str) -> None:
        """Add a heading."""
        self.console.print()
        self.console.print(text.upper(), style="bold")

    def listing(self, lines: Iterable[str]) -> None:
        """Add lines, each set off by a dash and wrapped."""
        from rich.padding import Padding

        for text in lines:
            first, *rest = _wrapped(text, WIDTH - 4)
            self.console.print(Padding("- " + "\n  ".join([first, *rest]), (0, 0, 0, 1)))

    def numbered(self, number: int, text: str) -> None:
        """Add one line of a numbered list, wrapped."""
        from rich.padding import Padding

        first, *rest = _wrapped(text, WIDTH - 6)
        lines = f"{number:>2}. " + "\n    ".join([first, *rest])
        self.console.print(Padding(lines, (0, 0, 0, 1)))

    def table(self, headings: Sequence[str], rows: Iterable[Sequence[str]], left: int = 1) -> None:
        """Add a table; the first `left` columns are text, the others numbers."""
        from rich.table import Table

        table = Table(
            box=None,
            padding=(0, 2, 0, 0),
            header_style="dim",
            pad_edge=False,
            show_header=any(headings),
        )
        for number, heading in enumerate(headings):
            table.add_column(heading, justify="left" if number < left else "right", overflow="fold")
        for row in rows:
            table.add_row(*row)
        from rich.padding import Padding

        self.console.print(Padding(table, (0, 0, 0, 1)))

    def text(self) -> str:
        """Return everything, without blanks at line ends."""
        return "\n".join(line.rstrip() for line in self.buffer.getvalue().splitlines()) + "\n"


def _wrapped(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width) or [""]


def cell(value: Value, system: str, point: int = 0, digits: int = 4) -> str:
    """Return a value with its unit, for one point."""
    return quantities.text(float(at(value.value, point)), value.quantity, system, digits)


def solve_text(
    verdict: Verdict, system: str = "si", *, colour: bool = False, point: int = 0
) -> str:
    """Return the page of one operating point."""
    page = Page(colour)
    case, result = verdict.case, verdict.result
    page.line(case.title, "bold")
    page.line(f"{case.path}: {_settings(verdict, system)}")
    if not result.solved[point]:
        page.head("Answer")
        page.line(f" No operating point: {result.reason(point, system)}.")
        return page.text()
    _answer(page, verdict, system, point)
    _limits(page, verdict, system, point)
    remedies_part(page, verdict)
    _line(page, verdict, system, point)
    _units(page, verdict, system, point)
    health_part(page, verdict, system, point)
    chemistry_part(page, verdict, system, point)
    _energy(page, verdict, system, point)
    _remarks(page, verdict, system, point)
    return page.text()


def _settings(verdict: Verdict, system: str) -> str:
    """Return the settings an operator turns, as asked."""
    texts = []
    for name, kind in verdict.case.kinds.items():
        parameters = verdict.result.sheet.units[name].parameters
        for field in {
            "feed_pump": ("speed",),
            "intake": ("flow", "pressure"),
            "high_pressure_pump": ("flow", "outlet_pressure"),
        }.get(kind, ()):
            value = getattr(parameters, field)
            if value is not None:
                shown = quantities.text(
                    float(at(value, 0)),
                    type(parameters).__dataclass_fields__[field].metadata["kind"],
                    system,
                )
                texts.append(f"{name}.{field} = {shown}")
    return ", ".join(texts) or "at its settings"


def _answer(page: Page, verdict: Verdict, system: str, point: int) -> None:
    result = verdict.result
    missed = [c for c in result.limits if not at(c.meets, point)]
    page.head("Answer")
    total = len(result.limits)
    if not total:
        page.line(" No limits were stated for this case.")
    elif not missed:
        page.line(
            f" All {total} limits are met at this setting. Design figures, not an approval.",
            "green",
        )
    else:
        page.line(
            f" {len(missed)} of {total} limits NOT met: {'; '.join(c.name for c in missed)}.",
            "bold red",
        )
    values = result.values
    rows = []
    for address, words in (("product.flow", "product"), ("energy.specific", "energy")):
        if address in values:
            rows.append(
                (words, cell(values[address], system, point), _also(values[address], system, point))
            )
    for name, largest in verdict.largest_flows.items():
        rows.append(
            (
                f"largest flow at which {name} still meets its dose",
                cell(largest, system, point),
                _also(largest, system, point),
            )
        )
    page.table(("", "", ""), rows)


def _also(value: Value, system: str, point: int) -> str:
    """Return the value in the other system of units."""
    other = cell(value, "us" if system == "si" else "si", point)
    return f"({other})" if other != cell(value, system, point) else ""


def _limits(page: Page, verdict: Verdict, system: str, point: int) -> None:
    criteria = verdict.result.limits
    if not criteria:
        return
    page.head("Limits")
    page.table(
        ("", "limit", "at", "value", "asked", "margin"),
        [
            (
                "met" if at(c.meets, point) else "NOT MET",
                c.name,
                c.address.partition(".")[0],
                cell(Value(c.value, c.quantity), system, point),
                f"{c.relation} {cell(Value(c.limit, c.quantity), system, point)}",
                f"{100 * at(c.margin, point):+.0f} %",
            )
            for c in criteria
        ],
        left=3,
    )
    page.listing(_moves(c) for c in criteria if not at(c.meets, point))


def _moves(criterion: Limit) -> str:
    mover = f" (input {criterion.binding_input})" if criterion.binding_input else ""
    return f"{criterion.name}: {criterion.advice}{mover}; limit from {criterion.source}"


def _line(page: Page, verdict: Verdict, system: str, point: int) -> None:
    """The state of the water along the way."""
    result = verdict.result
    rows, columns = [], [c for c in STREAM_COLUMNS if _told(result, c)]
    for name in result.sheet.order:
        unit = result.sheet.units[name]
        for port in unit.outlets or unit.inlets:
            values = _port_values(result, name, port)
            label = name if len(unit.outlets) < 2 else f"{name}.{port}"
            rows.append(
                [
                    label,
                    *(cell(values[c], system, point, 3) if c in values else "" for c in columns),
                ]
            )
    page.head("Along the line, behind each unit")
    page.table(("", *(HEADINGS.get(c, c) for c in columns)), rows)


def _told(result, column: str) -> bool:
    ports = [(name, port) for name, unit in result.sheet.units.items() for port in unit.outlets]
    return any(column in _port_values(result, *port) for port in ports)


def _port_values(result, name: str, port: str):
    from treatsim.flowsheet.result import stream_values

    return stream_values(result.streams[name, port])


def _units(page: Page, verdict: Verdict, system: str, point: int) -> None:
    for name, details in verdict.result.all_details.items():
        values = details.values | {
            key.removeprefix(f"{name}."): value
            for key, value in verdict.result.extra.items()
            if key.startswith(f"{name}.")
        }
        if verdict.case.kinds[name] == "uv_reactor":
            _reactor(page, name, values, system, point)


def _reactor(page: Page, name: str, values, system: str, point: int) -> None:
    page.head(f"{name} (UV reactor)")
    rows = [
        (words, cell(values[key], system, point))
        for key, words in (
            ("light_output", "light at 254 nm, old lamp and fouled sleeve"),
            ("fluence_rate_mean", "mean fluence rate"),
            ("wall_irradiance", "irradiance a flat wall sensor reads"),
            ("residence_time", "residence time"),
            ("reynolds_number", "Reynolds number"),
            ("dose_mean", "mean dose"),
            ("dose_min", "smallest dose, unmixed"),
            ("dose_credited", "dose credited"),
            ("dose_credited_new", "dose credited with a new lamp, clean sleeve"),
            ("dose_required", "dose required"),
        )
        if key in values
    ]
    page.table(("", ""), rows)
    page.line()
    page.line(" equivalent dose by mixing assumption; the truth lies inside the band")
    told = [key.split(".")[1:] for key in values if key.startswith("red.")]
    organisms = list(dict.fromkeys(organism for organism, _ in told))[:4]
    mixings = list(dict.fromkeys(mixing for _, mixing in told))
    rows = [
        (
            organism.replace("_", " "),
            *(
                cell(values[f"red.{organism}.{mixing}"], system, point, 3)
                if [organism, mixing] in told
                else ""
                for mixing in mixings
            ),
        )
        for organism in organisms
    ]
    page.table(("organism", *mixings), rows)


def _energy(page: Page, verdict: Verdict, system: str, point: int) -> None:
    result = verdict.result
    rows = []
    for name, details in result.all_details.items():
        power = float(at(details.power, point))
        if power and result.product is not None:
            flow = float(at(result.product.flow, point))
            rows.append(
                (
                    name,
                    cell(Value(power, "power"), system, 0),
                    cell(Value(power / flow, "energy_per_volume"), system, 0),
                )
            )
    if rows:
        page.head("Energy")
        page.table(("", "power", "per volume of product"), rows)


def _remarks(page: Page, verdict: Verdict, system: str, point: int) -> None:
    for heading, lines in (
        ("To note", verdict.findings(point, system)),
        ("Outside the range of a formula", verdict.excursions(point, system)),
        ("Assumptions", verdict.choices),
        ("Cautions", verdict.cautions),
    ):
        if lines:
            page.head(heading)
            page.listing(lines)
    page.line()
    page.line(f"sources: {', '.join(verdict.sources)} (treatsim sources KEY)", "dim")
