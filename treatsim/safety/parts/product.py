"""What the product holds: every dissolved substance known of the source, at the tap."""

from __future__ import annotations

import numpy as np

from treatsim.flowsheet.result import Result
from treatsim.flowsheet.substances import SETTLED
from treatsim.operations.declarations import Told
from treatsim.operations.outcome import Limit, Value, unjudged
from treatsim.safety.additions import Additions
from treatsim.safety.product_water import ProductWater, acid_at, product_water

RESULTS = {
    "product.ph": Told("ph", "pH of the product, after every blend and dosing"),
    "product.*": Told("concentration", "a substance in the product, after every blend"),
}
LOWEST, HIGHEST = 6.5, 9.5  # usual range of drinking water, who_gdwq_2011, from memory
CORROSIVE = (
    "the product has a pH of {ph:.2f}, below 6.5, as permeates have: it eats at metal and mortar; "
    "let it pass calcite, blend it, or dose caustic soda"
)


def product(result: Result, earlier: Additions) -> Additions:
    """Concentrations at the product, after every blend and every pass.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    earlier : Additions
        What was judged before.

    Returns
    -------
    Additions
        "product.boron", "product.nitrate" and so on; what is known as an upper bound only, as
        "product.arsenic_at_most"; and the record "product".

    Validity
    --------
    As `product_water`; what was measured after treatment takes the place of an estimate.

    Source
    ------
    as `product_water`
    """
    water: ProductWater = product_water(result)
    values = {}
    for name, value in water.product.items():
        key = f"{name}_at_most" if name in water.at_most else name
        values[f"product.{key}"] = Value(value, "concentration")
    limits = _settled(result, water)
    found = Additions(values, limits, notes=tuple(water.notes), records={"product": water})
    end = result.product_end
    acid = None if end is None else acid_at(result, water, end)
    stated = getattr(result.sections.get("water"), "ph", None)
    changed = water.dosed or any(unit.semipermeable for unit in result.sheet.units.values())
    if end is not None and not changed and stated is not None:  # filters and light leave the pH
        ph = np.broadcast_to(np.asarray(stated, float), result.solved.shape)
        return found.joined(_held(ph, "another source, or a stage that corrects it"))
    if end is None or (acid is None and not water.dosed):
        return found
    return found.joined(_acidity(result, water, None if acid is None else acid.ph))


def _settled(result: Result, water: ProductWater) -> tuple[Limit, ...]:
    """Hold what a recycle brings back against a settled state: all that is told hangs on it."""
    open_ones = result.solved & (np.asarray(water.change) > SETTLED)
    if not np.any(open_ones):
        return ()
    return (
        Limit("dissolved substances settle over the recycle", "product.settling", water.change,
              "<=", SETTLED, "fraction", "", advice="return less of the concentrate",
              group="health"),
    )  # fmt: skip


def _acidity(result: Result, water: ProductWater, ph) -> Additions:
    """PH of the product: held where something is dosed, else only told."""
    if not water.dosed:
        least = float(np.min(np.where(result.solved, ph, np.inf)))
        notes = (CORROSIVE.format(ph=least),) if least < LOWEST else ()
        return Additions({"product.ph": Value(ph, "ph")}, notes=notes)
    if ph is None:
        words = "pH of the product, behind the dosing"
        return Additions(limits=(unjudged(words, "water.ph", address="product.ph"),))
    return _held(ph, "dose less acid, or let it pass calcite", "dose less base")


def _held(ph, below: str, above: str = "") -> Additions:
    """The usual range of drinking water, and what to do outside it."""
    source = "who_gdwq_2011"
    limits = (
        Limit("lowest pH of the product", "product.ph", ph, ">=", LOWEST, "ph", source,
              advice=below, group="practice"),
        Limit("highest pH of the product", "product.ph", ph, "<=", HIGHEST, "ph", source,
              advice=above or below, group="health"),
    )  # fmt: skip
    return Additions({"product.ph": Value(ph, "ph")}, limits, sources=(source,))
