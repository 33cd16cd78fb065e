"""The table [analytes] of a case: what was measured before and after treatment."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import field
from pathlib import Path
from typing import Any

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.operations.parameters import Parameters, record, reference
from treatsim.safety.analytes import quantity_of, read_detected
from treatsim.safety.guideline_values import Guideline, guidelines
from treatsim.water.substances import Reading, basis_of, substance


@record
class AnalytesParameters(Parameters):
    """Analytes in the source and, where measured, in the treated water."""

    before: Mapping[str, float] = reference("analytes of the source", default_factory=dict)
    after: Mapping[str, float] = reference("analytes after treatment", default_factory=dict)
    limits: Mapping[tuple[str, str], Guideline] = field(
        default_factory=guidelines,
        metadata={"kind": "text", "meaning": "values that hold", "source": ""},
    )
    below: frozenset = reference("of the source, limits of detection", default=frozenset())
    below_after: frozenset = reference("of the treated water, the same", default=frozenset())
    national: str = reference("file of national values", default="")

    @staticmethod
    def entries() -> list[tuple[str, str, str, str]]:
        """Return key, meaning, unit and an example of every entry that is read."""
        held: dict[str, list[Guideline]] = {}
        for (_, analyte), value in sorted(guidelines().items()):
            held.setdefault(analyte, []).append(value)
        rows = [
            (name, "; ".join(f"{v.kind} value {_stated(v)}" for v in values),
             quantities.QUANTITIES[quantity_of(name)].shown, _stated(values[0]))
            for name, values in sorted(held.items())
        ]  # fmt: skip
        after = "the same below [analytes.after], measured in the treated water"
        national = "file beside the case with the values that hold in the country"
        return [*rows, ("after", after, "", ""), ("national_values", national, "", "values.toml")]

    @classmethod
    def from_table(
        cls, table: Mapping[str, Any], where: str, add: Callable[[str, str], None], path: str
    ) -> AnalytesParameters:
        """Read the table; `add` takes the key path and the text of each fault."""
        rest = {key: value for key, value in table.items()
                if key not in ("after", "national_values")}  # fmt: skip
        national = table.get("national_values", "")
        try:
            limits = _limits(national, path)
        except RequestError as error:
            for line in error.problems:
                add(f"{where}.national_values", f"{where}.national_values: {line}")
            limits = guidelines()
        after = table.get("after", {})
        if not isinstance(after, dict):
            add(f"{where}.after", f"{where}.after: a table [{where}.after] belongs here")
            after = {}
        known = sorted({analyte for _, analyte in limits})
        source, treated = _read(rest, where, known, add), _read(after, f"{where}.after", known, add)
        return cls(
            before={name: reading.value for name, reading in source.items()},
            after={name: reading.value for name, reading in treated.items()},
            below=frozenset(name for name, reading in source.items() if reading.below),
            below_after=frozenset(name for name, reading in treated.items() if reading.below),
            limits=limits,
            national=str(national),
        )


def _stated(value: Guideline) -> str:
    """Return a guideline value as it would be written."""
    text = quantities.text(value.limit, quantity_of(value.analyte))
    return f"{text} as {value.basis}" if value.basis else text


def _limits(national: Any, path: str) -> dict[tuple[str, str], Guideline]:
    if not national:
        return guidelines()
    file = Path(path).parent / str(national)
    if not file.is_file():
        raise RequestError(f'"{national}": no such file beside the case')
    try:
        return guidelines(file)
    except RequestError:
        raise
    except (ValueError, OSError) as error:
        text = str(error).splitlines()[0]
        raise RequestError(f'"{national}": not readable as TOML: {text}') from error


def _read(
    table: Mapping[str, Any], where: str, known: list[str], add: Callable[[str, str], None]
) -> dict[str, Reading]:
    found: dict[str, Reading] = {}
    for spelled, text in table.items():
        row = substance(spelled)
        name = row.name if row else spelled
        if row is None and name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f'did you mean "{near[0]}"?' if near else f"known: {', '.join(known)}"
            hint = basis_of(name) or hint
            add(f"{where}.{name}", f"{where}.{name}: no guideline value for it; {hint}")
            continue
        if name in found:
            add(f"{where}.{spelled}", f"{where}.{spelled}: {name} stands here already; keep one")
            continue
        try:
            found[name] = read_detected(name, text)
        except RequestError as error:
            for line in error.problems:
                add(f"{where}.{spelled}", f"{where}.{line}")
    return found
