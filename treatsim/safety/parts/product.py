"""What the product holds: every dissolved substance known of the source, at the tap."""

from __future__ import annotations

from treatsim.flowsheet.result import Result
from treatsim.operations.declarations import Told
from treatsim.operations.outcome import Value
from treatsim.safety.additions import Additions
from treatsim.safety.product_water import ProductWater, product_water

RESULTS = {"product.*": Told("concentration", "a substance in the product, after every blend")}


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
    return Additions(values, notes=tuple(water.notes), records={"product": water})
