"""Water chemistry around a reverse-osmosis vessel: scale, pH, boron, ions of the permeate.

Worked out for single operating points of waters that an analysis can be spoken of: an ion analysis,
or sea water with a pH. Everything is an estimate from the analysis of the source; the product is
measured before anybody drinks it.
"""

from __future__ import annotations

from functools import cached_property
from typing import cast

from treatsim.constants import CELSIUS_25
from treatsim.correlations.ro.spacer_channel import correlation
from treatsim.correlations.ro.trace_solute import film_of, trace_solute
from treatsim.errors import NoSolutionError
from treatsim.flowsheet.result import Result
from treatsim.flowsheet.wiring import reach
from treatsim.operations.outcome import Finding, Limit, Value, at, unjudged
from treatsim.operations.ro_element import RoElementParameters, element_of, membrane_at
from treatsim.operations.unit import Unit
from treatsim.ranges import Excursion, excursions
from treatsim.safety.additions import Additions
from treatsim.safety.guideline_values import guidelines
from treatsim.water import boron, chemistry, scaling
from treatsim.water.ion_passage import DIVALENT_SHARE, ions_of, permeate_ions
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT, IONS
from treatsim.water.water_table import WaterTable

SMALLEST_FACTOR = 0.05  # below, a vessel's feed is too thin for scale and for PHREEQC
BLEND_TARGET = 0.3  # kg/m3 of dissolved solids, upper end of the best taste class
ASSUMED = (
    "dissolved carbon dioxide stays that of the source all along and passes the membrane; nothing "
    "precipitates",
    f"ions of the permeate are estimated: divalent ones pass {DIVALENT_SHARE:.2g} as readily as "
    "monovalent ones, alkalinity as a monovalent ion, charges in balance, sum equal to the solved "
    "salt (common practice, no source; within a factor of two)",
    "limits of saturation are common practice, from memory: the data sheet of the antiscalant "
    "decides",
)


class _View:
    """One vessel at its one point, in plain numbers, and what is told of it."""

    def __init__(self, result: Result, unit: Unit) -> None:
        self.values: dict[str, Value] = {}
        self.limits: list[Limit] = []
        self.findings: list[Finding] = []
        self.notes: list[str] = []
        self.sources: list[str] = []
        self.excursions: list[tuple[str, Excursion]] = []
        self.result, self.unit, self.name = result, unit, unit.name
        self.table = cast(WaterTable, result.sheet.source.water)
        self.analysis = self.table.analysis
        self.feed, self.permeate, self.concentrate = (
            result.streams[unit.name, port].take(0) for port in ("feed", "permeate", "concentrate")
        )
        self.temperature = float(at(self.feed.temperature, 0))
        self.elements = int(at(unit.parameters.elements_in_series, 0))

    def number(self, key: str) -> float:
        """A value of the vessel, SI."""
        return float(at(self.result.details(self.name).values[key].value, 0))

    def by_element(self, key: str) -> list[float]:
        """A value of every element."""
        return [self.number(f"element_{i + 1}.{key}") for i in range(self.elements)]

    def factor(self, salinity) -> float:
        """Concentration factor over the source, per kg of water."""
        return float(at(self.table.concentration_factor(salinity), 0))

    @cached_property
    def bulk(self) -> float:
        """Concentration factor of the concentrate."""
        return self.factor(self.concentrate.salinity)

    @cached_property
    def polarisation(self) -> float:
        """Highest concentration at any membrane over that of the concentrate."""
        return max(self.factor(self.number("membrane_salinity_max")) / self.bulk, 1.0)

    @cached_property
    def worst_element(self) -> int:
        """Number of the element with the highest concentration at the membrane."""
        pairs = zip(
            self.by_element("concentrate_concentration"), self.by_element("polarisation_max"),
            strict=True,
        )  # fmt: skip
        rows = [c * p for c, p in pairs]
        return rows.index(max(rows)) + 1

    @cached_property
    def passage(self) -> float:
        """Salt of the permeate over that of the source, per kg of water."""
        return self.factor(self.permeate.salinity)

    def tell(self, key: str, value, quantity: str) -> None:
        """Add one result."""
        self.values[f"{self.name}.{key}"] = Value(float(value), quantity)

    def find(self, text: str, **values: Value) -> None:
        """Add one finding."""
        self.findings.append(Finding(True, f"{self.name}: {text}", values))

    def note(self, text: str) -> None:
        """Add one assumption."""
        self.notes.append(f"{self.name}: {text}")

    def additions(self) -> Additions:
        """Return everything told."""
        return Additions(self.values, tuple(self.limits), tuple(self.findings),
                         tuple(self.notes), tuple(self.sources),
                         excursions=tuple(self.excursions))  # fmt: skip


def membranes(result: Result, earlier: Additions) -> Additions:
    """Scale, pH, boron and ions of every reverse-osmosis vessel.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    earlier : Additions
        What was judged before.

    Returns
    -------
    Additions
        Values below each vessel, findings and limits.

    Validity
    --------
    One operating point; of many nothing is worked out, for it takes 0.2 s each, and what would
    have been held is not judged. Without an ion analysis, or without a pH, scale and pH are left
    out and that is said.

    Source
    ------
    parkhurst_appelo_2013, dickson_1990, who_gdwq_2022
    """
    vessels = [unit for unit in result.sheet.units.values() if unit.treated]
    found = Additions()
    for unit in vessels:
        if result.points != 1:
            limit = unjudged(f"boron and scale of {unit.name}", "one point by itself")
            found = found.joined(Additions(limits=(limit,)))
            continue
        view = _View(result, unit)
        _permeate(view)
        if _speciable(view):
            _chemistry(view)
        found = found.joined(view.additions())
    return found


def _speciable(view: _View) -> bool:
    if view.analysis.kind not in ("ions", "seawater"):
        return False
    if view.analysis.ph is None:
        why = "water.ph is not given"
    elif view.factor(view.feed.salinity) < SMALLEST_FACTOR:
        why = "its feed is a permeate, too thin to be told from the analysis of the source"
    else:
        return True
    view.note(f"no scale, pH or boron: {why}")
    return False


def _permeate(view: _View) -> None:
    """Ions and taste of the permeate."""
    salt = float(at(view.permeate.concentration, 0))
    source = view.result.sheet.source.take(0)
    ions = permeate_ions(ions_of(view.analysis, float(at(source.concentration, 0))), salt)
    for ion, value in ions.items():
        view.tell(f"permeate.{IONS[ion].name.split(',')[0].replace(' ', '_')}", value,
                  "concentration")  # fmt: skip
    limits = _limits(view.result)
    for key, value, words in (
        ("sodium", ions.get("Na", 0.0), "sodium"),
        ("dissolved_solids", salt, "dissolved solids"),
    ):
        limit = limits["taste", key].limit
        if value > limit and _is_last(view):
            view.find(f"{words} of {{value}} in the permeate can be tasted (above {{limit}})",
                      value=Value(value, "concentration"),
                      limit=Value(limit, "concentration"))  # fmt: skip
    raw = float(at(source.concentration, 0))
    if salt < BLEND_TARGET < raw:
        view.tell("blend_share", chemistry.blend_fraction(raw, salt, BLEND_TARGET), "fraction")


def _limits(result: Result):
    own = getattr(result.sections.get("analytes"), "limits", None)
    return guidelines() if own is None else own


def _is_last(view: _View) -> bool:
    """Whether the permeate goes through no further vessel."""
    wiring, units = view.result.sheet.wiring, view.result.sheet.units
    to = wiring.goes[view.name, view.unit.treated]
    return len(to) == 1 or not any(units[n].treated for n in reach(wiring, to[0]))


def _chemistry(view: _View) -> None:
    """Scale and pH, then boron; what PHREEQC cannot follow is said."""
    try:
        _scale(view)
        _acidity(view)
    except NoSolutionError as error:
        view.find(f"no scale or pH: {error}")
        return
    for line in ASSUMED:
        view.note(line)
    view.sources.append("parkhurst_appelo_2013")
    _boron(view)


def _scale(view: _View) -> None:
    analysis, T, factor = view.analysis, view.temperature, view.bulk
    bulk = scaling.saturation(analysis, factor, T)
    membrane = scaling.saturation(analysis, factor, T, polarisation=view.polarisation)
    view.tell("concentrate.concentration_factor", factor, "factor")
    view.tell("membrane.concentration_factor", factor * view.polarisation, "factor")
    view.tell("concentrate.ph", bulk.ph, "ph")
    view.tell("membrane.ph", membrane.ph, "ph")
    for scale in membrane.indices:
        view.tell(f"saturation.{scale}", membrane.ratio(scale), "factor")
        view.tell(f"saturation_bulk.{scale}", bulk.ratio(scale), "factor")
    for antiscalant, key in ((False, "recovery_limit"), (True, "recovery_limit_antiscalant")):
        limits = scaling.limiting_factors(
            analysis, T, polarisation=view.polarisation, antiscalant=antiscalant
        )
        for scale, most in limits.items():
            view.tell(f"{key}.{scale}", _recovery(min(most, scaling.LARGEST_SEARCHED),
                                                  view.passage), "fraction")  # fmt: skip
    _simple_indices(view, bulk)
    _scale_findings(view, membrane)


def _recovery(factor: float, passage: float) -> float:
    """Recovery at which what is left behind is concentrated by `factor`, per kg of water."""
    return max(0.0, (factor - 1) / (factor - passage)) if factor > 1 else 0.0


def _simple_indices(view: _View, bulk: scaling.Saturation) -> None:
    """Langelier's index, and Stiff and Davis' for what is too salty for it."""
    salt = float(at(view.concentrate.concentration, 0))
    ions = ions_of(view.analysis, salt)
    calcium = ions.get("Ca", 0.0) / IONS["Ca"].molar_mass  # mol/m3
    alkali = ions.get("HCO3", 0.0) / IONS["HCO3"].molar_mass
    alkali += 2 * ions.get("CO3", 0.0) / IONS["CO3"].molar_mass
    if not calcium or not alkali:
        return
    lime, T = CALCIUM_CARBONATE_EQUIVALENT, view.temperature
    if not excursions(scaling.LANGELIER_RANGE, salt):
        index = scaling.langelier_index(bulk.ph, salt, 2 * calcium * lime, alkali * lime, T)
        view.tell("concentrate.langelier_index", index, "factor")
    index = scaling.stiff_davis_index(bulk.ph, calcium, alkali, bulk.ionic_strength, T)
    view.tell("concentrate.stiff_davis_index", index, "factor")


def _scale_findings(view: _View, membrane: scaling.Saturation) -> None:
    """Say what forms with an antiscalant too, and then what forms without one."""
    place = f"at the membrane of element {view.worst_element}"
    soft = []
    for scale in membrane.indices:
        ratio, rule = membrane.ratio(scale), scaling.SCALES[scale]
        if ratio > rule.with_antiscalant:
            view.find(
                f"{scale} forms {place}: {ratio:.3g} times saturated, above the "
                f"{rule.with_antiscalant:.3g} that an antiscalant commonly holds; recover less"
            )
        elif ratio > rule.without:
            soft.append(f"{scale} {ratio:.3g}")
    if soft:
        view.find(
            f"scale forms {place} unless an antiscalant is dosed (times saturated: "
            f"{', '.join(soft)})"
        )


def _acidity(view: _View) -> None:
    """pH of feed and permeate, and of the permeate after calcite."""
    analysis, T = view.analysis, view.temperature
    view.tell("feed.ph", chemistry.concentrate_ph(analysis, view.factor(view.feed.salinity), T),
              "ph")  # fmt: skip
    raw = ions_of(analysis, 1.0)
    salt = float(at(view.permeate.concentration, 0))
    passed = permeate_ions(raw, salt).get("HCO3", 0.0)
    source = view.result.sheet.source.take(0)
    share = passed / (raw.get("HCO3", 0.0) * float(at(source.concentration, 0)) or 1.0)
    product = chemistry.permeate(analysis, min(share, 1.0), min(view.passage, 1.0), T)
    view.tell("permeate.ph", product.ph, "ph")
    view.tell("permeate.carbon_dioxide", product.carbon_dioxide, "concentration")
    view.tell("alkalinity_passage", share, "fraction")
    hard = chemistry.remineralised(product, T)
    view.tell("calcite_contact.ph", hard.ph, "ph")
    view.tell("calcite_contact.calcium", hard.calcium, "concentration")
    view.tell("calcite_contact.alkalinity_as_calcium_carbonate",
              hard.alkalinity_as_calcium_carbonate, "concentration")  # fmt: skip


def _boron(view: _View) -> None:
    """Boron of the permeate by pH, and the guideline value it is held against."""
    raw = view.analysis.ions.get("B") if view.analysis.kind == "ions" else None
    given = getattr(view.result.sections.get("water"), "boron", None)
    if given is not None:
        raw = float(at(given, 0))
    element = element_of(view.unit.parameters.element)
    if raw is None or element.boric_acid_permeability is None:
        return
    passing = trace_solute(1.0, view.by_element("recovery"), view.by_element("flux"),
                           _boron_film(view), _boron_permeability(view, element))  # fmt: skip
    feed = raw * _returned(view, passing.concentrate)
    view.tell("feed.boron", feed, "concentration")
    view.tell("permeate.boron", feed * passing.permeate, "concentration")
    view.tell("concentrate.boron", feed * passing.concentrate, "concentration")
    view.note(
        "boric acid passes by the element's own permeability, aged and warmed like "
        "that of salt, borate as salt does; shares of the two by the pH of the stream"
    )
    view.sources.append("dickson_1990")
    beyond = excursions(boron.DICKSON_SALINITY, view.concentrate.salinity)
    beyond += excursions(boron.DICKSON_TEMPERATURE, view.temperature)
    view.excursions += [(view.name, item) for item in beyond]
    if _is_last(view):
        _boron_limit(view, feed * passing.permeate)


def _boron_film(view: _View):
    exponent = correlation(view.unit.parameters.correlation).schmidt_exponent
    diffusivity = IONS["B"].diffusivity
    rows = view.by_element("polarisation_max")
    return film_of([max(p, 1.0) for p in rows], view.table.salt_diffusivity, diffusivity, exponent)


def _boron_permeability(view: _View, element: RoElementParameters) -> list[float]:
    """Of boric acid and borate together, at the mean state of the stream in each element."""
    p, T = view.unit.parameters, view.temperature
    new = membrane_at(element, p.correlation, T, 1.0, 1.0).salt_permeability
    cold = membrane_at(element, p.correlation, CELSIUS_25, 1.0, 1.0).salt_permeability
    aged = float(at(new * p.salt_permeability_ratio, 0))
    acid = float(element.boric_acid_permeability or 0.0) * aged / float(cold)
    ends = [view.factor(view.feed.salinity), view.bulk]
    ratio = (ends[1] / ends[0]) ** (1 / view.elements)
    found = []
    for number in range(view.elements):
        factor = ends[0] * ratio ** (number + 0.5)
        ph = chemistry.concentrate_ph(view.analysis, factor, T)
        salt = factor * view.table.feed_salinity / (1 - view.table.feed_salinity)
        borate = boron.borate_fraction(ph, salt / (1 + salt), T)
        found.append(float(boron.effective_permeability(borate, acid, aged)))
    return found


def _returned(view: _View, gain: float) -> float:
    """Boron of the vessel's feed over the source's, concentrate coming back as the salt tells."""
    salt = [float(at(s.salinity, 0)) for s in (view.result.sheet.source, view.feed,
                                               view.concentrate)]  # fmt: skip
    share = (salt[1] - salt[0]) / (salt[2] - salt[0])
    return (1 - share) / (1 - share * gain)


def _boron_limit(view: _View, value: float) -> None:
    rule = _limits(view.result)["health", "boron"]
    view.limits.append(
        Limit(
            f"boron in the permeate, guideline value of {rule.edition}",
            f"{view.name}.permeate.boron",
            value,
            "<=",
            rule.limit,
            "concentration",
            rule.source,
            "water.ph",
            "raise the pH of the feed, renew old elements, or send the permeate through once more",
        )
    )
