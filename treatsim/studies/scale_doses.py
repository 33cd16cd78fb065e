"""How far may be recovered before each scale, and the acid or antiscalant that a recovery takes.

What is dosed is not felt by flows and pressures, so that one solved point of the case serves every
dose: the chemistry of the vessel alone is asked again. Polarisation and passage stay those of the
vessel as it runs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.errors import NoSolutionError, RequestError
from treatsim.flowsheet.substances import SETTLED
from treatsim.numerics import find_roots
from treatsim.operations.chemical_dosing import CHEMICALS
from treatsim.safety import recovery_limits, scale
from treatsim.safety.membrane_view import MembraneView
from treatsim.safety.parts.membranes import antiscalant_reaches
from treatsim.safety.product_water import product_water
from treatsim.safety.vessel_acidity import VesselAcidity
from treatsim.studies.throughout import Conditions
from treatsim.water.acidity import ALKALINITY, CARBON, acid_of, water_in
from treatsim.water.concentrate_line import SMALLEST
from treatsim.water.ions import IONS
from treatsim.water.scaling import SCALES

ACIDS = tuple(key for key, row in CHEMICALS.items() if row.hazard == "acid")
CALCITE = "calcite"
MOST = 0.999  # of the alkalinity that acid may take: less leaves no buffer to dose against
CLOSE = 1e-6  # of an index, to which a dose is found


class Scale(NamedTuple):
    """One scale in one vessel at one condition."""

    mineral: str
    levels: tuple[float, ...]  # saturation at the membrane, limit without, limit with antiscalant;
    # of calcite the index that is held
    recovery_bare: float  # highest recovery without; infinite beyond what was looked at
    recovery_held: float


class Dose(NamedTuple):
    """The acid that brings calcium carbonate to its limit."""

    acid: str  # key of CHEMICALS
    antiscalant: bool  # whether one is dosed as well
    dose: float  # pure acid per volume of the water dosed, kg/m3; 0: none is needed, inf: none does
    ph: float  # behind it; NaN where none does
    gypsum: float  # saturation with the acid's sulfate; NaN where there is no gypsum


class Vessel(NamedTuple):
    """One vessel at one condition."""

    name: str
    condition: str
    recovery: float  # of the source; of a vessel fed with a permeate its own
    as_run: float
    searched: float  # recovery up to which scale was looked for
    dosed: bool  # whether the case doses an antiscalant
    scales: tuple[Scale, ...]
    doses: tuple[Dose, ...]

    @property
    def beyond(self) -> bool:
        """Whether a scale goes beyond its limit with what the case doses."""
        levels = [scale.levels for scale in self.scales]
        return any(value > (held if self.dosed else bare) for value, bare, held in levels)


def scale_doses(
    case: Any,
    recovery: float | None,
    conditions: Conditions,
    report: Callable[[int, int], None] = lambda done, total: None,
) -> list[Vessel]:
    """Return every vessel at every condition.

    Parameters
    ----------
    case : Case
        The case. [-]
    recovery : float or None
        At which scale is looked at; None: as the vessel runs. [1]
    conditions : Conditions
        Each solved by itself. [-]
    report : callable
        Told how many conditions are done.

    Returns
    -------
    list of Vessel
        By vessel, then by condition.

    Raises
    ------
    RequestError
        No membranes, no pH or ions of the source, a recovery for several vessels at once.
    NoSolutionError
        A condition has no operating point, its chemistry no answer, or no dose was found.

    Validity
    --------
    As `safety/scale`. Acid is dosed into the source water (or what feeds a second pass); closed to
    air, so that the carbon dioxide it makes stays.
    """
    names = [n for n, unit in case.flowsheet().units.items() if unit.semipermeable]
    if not names:
        raise RequestError(f"{case.path}: no membranes are among the units")
    if recovery is not None and len(names) > 1:
        told = ", ".join(names)
        raise RequestError(f"--recovery is of one vessel, and this case has {told}; turn its flows")
    found = []
    for number, label in enumerate(conditions.labels):
        report(number, conditions.count)
        arrays = {a: np.array([float(v[number])]) for a, v in (conditions.arrays or {}).items()}
        result = case.solve(arrays)
        if not result.solved[0]:
            raise NoSolutionError(f"no operating point{f' at {label}' if label else ''}: "
                                  f"{result.reason(0)}")  # fmt: skip
        water = product_water(result)
        if water.acidity is None:
            raise RequestError(f"{case.path}: scale needs the ions of the source and water.ph")
        if np.max(water.change) > SETTLED:
            raise NoSolutionError("dissolved substances do not settle over the recycle")
        for name in names:
            view = MembraneView(result, result.sheet.units[name])
            found.append(_vessel(view, water, label, recovery))
    return sorted(found, key=lambda vessel: names.index(vessel.name))


def _vessel(view: MembraneView, water, label: str, recovery: float | None) -> Vessel:
    ports = water.ports
    acid = VesselAcidity(view, water.acidity, ports[view.name, "feed"])
    start, factors = recovery_limits.searched(view)
    passage = float(view.passage[0]) / start
    both = np.array([view.bulk[0], factors[-1]]) / start
    as_run, top = recovery_limits.recovery_of(both, passage).tolist()
    wanted = as_run if recovery is None else recovery
    if wanted > top:
        raise RequestError(
            f"{view.name}: a recovery of {wanted:.1%} lies beyond the chemistry of this water, "
            f"which reaches {top:.1%}"
        )
    grown = (1 - wanted * passage) / (1 - wanted)
    factor = view.bulk[:1] if recovery is None else np.array([start * grown])
    limits = _limits(view, acid, factor)
    bare, held = recovery_limits.highest_recovery(view, acid)
    scales = tuple(Scale(m, limits[m], bare[m], held[m]) for m in SCALES if m in limits)
    dosed = _Dosed(view, acid, factor, start)
    doses = () if CALCITE not in limits else tuple(dosed.doses())
    antiscalant = antiscalant_reaches(view, ports[view.name, "feed"])
    told = (label, wanted, as_run, top, bool(np.all(antiscalant)))
    return Vessel(view.name, *told, scales, doses)


def _limits(view: MembraneView, acid: VesselAcidity, factor) -> dict[str, tuple[float, ...]]:
    """Value, limit without and limit with antiscalant of each scale."""
    polarisation = view.wall / view.bulk
    bulk, _ = scale.saturations(view, acid, factor)
    wall, _ = scale.saturations(view, acid, factor * polarisation)
    index, salty, _ = scale.carbonate(view, acid, factor, bulk, wall)
    found = {}
    for mineral in wall.indices:
        if mineral == CALCITE:
            pair = (scale.allowed(view.analysis.kind, salty, dosed) for dosed in (False, True))
            found[mineral] = tuple(float(np.ravel(v)[0]) for v in (index, *pair))
        elif not np.all(view.fed < SMALLEST):
            rule = SCALES[mineral]
            found[mineral] = (
                float(np.ravel(wall.ratio(mineral))[0]),
                rule.without,
                rule.with_antiscalant,
            )
    if lost := [mineral for mineral, levels in found.items() if np.isnan(levels[0])]:
        raise NoSolutionError(f"{view.name}: no chemistry tells {', '.join(lost)} here")
    return found


class _Dosed(NamedTuple):
    """A vessel whose source is dosed with acid."""

    view: MembraneView
    acid: VesselAcidity
    factor: Any
    start: float

    def doses(self):
        """Yield what each acid takes, without and with an antiscalant."""
        for key in ACIDS:
            for antiscalant in (False, True):
                yield self._dose(key, antiscalant)

    def _dose(self, key: str, antiscalant: bool) -> Dose:
        most = float(MOST * self._buffer())

        def excess(charge: Any) -> Any:
            return np.array([self._at(key, float(q), antiscalant)[0] for q in charge])

        ends = excess((0.0, most))
        if ends[1] > 0:
            return Dose(key, antiscalant, np.inf, np.nan, np.nan)
        charge = 0.0
        if ends[0] > 0:
            guess, low, high = (np.array([v * most]) for v in (0.5, 0.0, 1.0))
            root = find_roots(lambda q, i: -excess(q), guess, low, high, ftol=CLOSE)
            if not root.converged[0]:
                raise NoSolutionError(f"{self.view.name}: no dose of {CHEMICALS[key].words} found")
            charge = float(root.x[0])
        row = CHEMICALS[key]
        _, gypsum = self._at(key, charge, antiscalant)
        return Dose(key, antiscalant, charge / -row.charge * row.molar_mass, self._ph(key, charge),
                    gypsum)  # fmt: skip

    def _buffer(self) -> float:
        """Alkalinity of the water that is dosed. [eq/m3]"""
        return float(np.ravel(self.acid.held[ALKALINITY])[0]) / self._grown

    @property
    def _grown(self) -> float:
        """What a dose into the source has become in the feed of the vessel."""
        return float(self.view.fed[0]) / self.start

    def _with(self, held: Mapping[str, Any], key: str, charge: float) -> dict[str, Any]:
        row = CHEMICALS[key]
        gains = {
            ion: charge / -row.charge * n * IONS[ion].molar_mass for ion, n in row.ions.items()
        }
        then = {**held, ALKALINITY: held[ALKALINITY] - charge}
        return then | {ion: held.get(ion, 0.0) + gain for ion, gain in gains.items()}

    def _at(self, key: str, charge: float, antiscalant: bool) -> tuple[float, float]:
        """Excess of the index of calcium carbonate and saturation of gypsum with acid [eq/m3]."""
        held = self._with(self.acid.held, key, charge * self._grown)
        found = _limits(self.view, VesselAcidity(self.view, self.acid.source, held), self.factor)
        index, *pair = found[CALCITE]
        return index - pair[antiscalant], found.get("gypsum", (np.nan,))[0]

    def _ph(self, key: str, charge: float) -> float:
        """Return the pH of the water that is dosed, behind the acid."""
        view, source = self.view, self.acid.source
        if float(view.fed[0]) < SMALLEST:
            held = self._with(self.acid.held, key, charge)
            return float(VesselAcidity(view, source, held).feed.ph[0])
        stream = view.result.sheet.source
        left = self._buffer() - charge
        held = {ALKALINITY: left, CARBON: source.carbon * water_in(stream)}
        return float(np.ravel(acid_of(source, stream, held).ph)[0])
