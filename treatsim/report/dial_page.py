"""One HTML file that answers without a network: dials to turn, limits that move with them."""

from __future__ import annotations

import base64
import datetime
import hashlib
import html
import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from string import Template
from typing import Any

import numpy as np

import treatsim
from treatsim import quantities
from treatsim.errors import NoSolutionError, RequestError
from treatsim.operations.composed import names_in
from treatsim.operations.outcome import Limit
from treatsim.report import dial_words as words
from treatsim.report.dial_figure import figure, library, shades
from treatsim.report.screen import PEOPLE, SERVED, VERDICTS, cautions, numbers
from treatsim.safety.verdict import Verdict
from treatsim.studies.carriage import Carriage, Field
from treatsim.studies.carried import carry
from treatsim.studies.carried_fit import step
from treatsim.studies.carried_needs import FLOW
from treatsim.studies.dials import Dial, dials, mends, turns
from treatsim.studies.observed import limit_of, quiet, value_of
from treatsim.studies.scattered import Scattered

UNIT = ("unit", "factor", "offset")  # number shown = factor * SI + offset
SCRIPTS = ("series.js", "states.js", "window.js", "page.js")  # in this order
POLICY = (
    "default-src 'none'; script-src {scripts}; style-src 'unsafe-inline'; img-src data: blob:; "
    "base-uri 'none'; form-action 'none'"
)
STEPS = 41  # along a dial, to see which limits it crosses


def page(
    case: Any, verdict: Verdict, system: str = "si", progress: Callable[[int, int], None] = quiet
) -> str:
    """Return the page of a case as HTML.

    Parameters
    ----------
    case : Case
        What the page answers for.
    verdict : Verdict
        The case solved and judged at its own settings.
    system : str
        Units shown, "si" or "us".
    progress : callable
        Told points solved and points expected. [1]

    Returns
    -------
    str
        A whole document that asks for no other file.

    Validity
    --------
    As `studies.carried.carry`: inside the ranges of the dials, with the errors it tells.

    Raises
    ------
    RequestError
        The case has fewer than two dials, or the library of the charts is not installed.
    NoSolutionError
        The case has no operating point at its own settings.

    Source
    ------
    definition
    """
    if not verdict.result.solved[0]:
        raise NoSolutionError(verdict.result.reason(0, system))
    answers = numbers(verdict)
    if PEOPLE in verdict.values:
        answers.append((SERVED, PEOPLE))
    code = library()
    wanted = [address for _, address in answers]
    carriage = carry(case, verdict, dials(case, verdict), wanted, progress)
    if len(carriage.dials) < 2:
        raise RequestError(f"{case.path}: a page needs two dials that move something")
    told = _told(verdict, carriage, answers, system)
    script = "\n".join(_file(name) for name in SCRIPTS)
    return Template(_file("page.html")).substitute(
        policy=POLICY.format(scripts=" ".join(_hash(text) for text in (code, script))),
        title=html.escape(case.title),
        style=_file("page.css"),
        origin=html.escape(_origin(case)),
        unread=words.UNREAD,
        helping=words.HELPING,
        left=_left(carriage, system),
        key=shades(),
        remarks=_remarks(verdict, carriage, system),
        cautions=_cautions(verdict),
        sure=_sure(verdict, carriage, answers, system),
        told=_as_json(told),
        library=code,
        script=script,
    )


def _file(name: str) -> str:
    return Path(__file__).with_name("page_files").joinpath(name).read_text("utf-8")


def _hash(text: str) -> str:
    digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest())
    return f"'sha256-{digest.decode()}'"


def _as_json(told: Any) -> str:
    """Return JSON in which no markup can end the element that holds it."""
    text = json.dumps(told, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _origin(case: Any) -> str:
    today = datetime.date.today().isoformat()
    return words.ORIGIN.format(
        case=Path(case.path).name, version=treatsim.__version__, date=today, mark=fingerprint(case)
    )


def fingerprint(case: Any) -> str:
    """Return twelve letters that change with anything the case states."""
    text = json.dumps(case.data, sort_keys=True, default=str)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def _told(
    verdict: Verdict, carriage: Carriage, answers: Sequence[tuple[str, str]], system: str
) -> dict[str, Any]:
    """Return everything the page's script reads."""
    kinds = {dial.quantity for dial in carriage.dials} | {"flow"}
    kinds |= {limit.quantity for limit in verdict.limits}
    kinds |= {verdict.value(address).quantity for _, address in answers}
    first = {dial.address: dial for dial in carriage.first}
    return {
        "words": words.TOLD | {"verdicts": VERDICTS},
        "units": {
            kind: dict(zip(UNIT, quantities.shown(kind, system), strict=True))
            for kind in sorted(kinds)
        },
        "dials": [_dial(dial, first[dial.address]) for dial in carriage.dials],
        "axes": _axes(verdict, carriage),
        "limits": [_limit(n, limit, carriage) for n, limit in enumerate(verdict.limits)],
        "answers": [
            {"words": text, "address": address, "kind": verdict.value(address).quantity}
            for text, address in answers
        ],
        "turns": [turn._asdict() for turn in turns(verdict, carriage.dials)],
        "mends": [
            {"words": mend.words, "changes": mend.changes}
            for mend in mends(verdict, carriage.dials)
        ],
        "train": {
            "flow": FLOW,
            "fixed": carriage.fixed,
            "fields": {name: _field(one) for name, one in carriage.fields.items()},
            "composed": carriage.composed,
        },
        "figure": figure(),
    }


def _dial(dial: Dial, first: Dial) -> dict[str, Any]:
    return {
        "address": dial.address,
        "words": dial.words,
        "kind": dial.quantity,
        "low": dial.low,
        "high": dial.high,
        "now": dial.now,
        "read": dial.read,
        "cut": (dial.low, dial.high) != (first.low, first.high),
    }


def _limit(number: int, limit: Limit, carriage: Carriage) -> dict[str, Any]:
    names = (value_of(number), limit_of(number))
    known = {*carriage.fields, *carriage.fixed, *carriage.composed}
    carried = known.issuperset(names)
    unjudged = number in carriage.unjudged
    needs = f"needs {limit.needs}" if limit.needs else words.NOT_CARRIED
    return {
        "name": limit.full_name,
        "kind": limit.quantity,
        "relation": limit.relation,
        "group": limit.group,
        "value": names[0],
        "limit": names[1],
        "judged": carried and not unjudged,
        "needs": needs,
        "waived": limit.waived,
    }


def _field(one: Field) -> dict[str, Any]:
    shape = one.shape
    blocks = [_block(part) for part in one.parts]
    counts = blocks[0][2]
    return {
        "axes": shape.axes,
        "ranges": shape.ranges,
        "counts": counts,
        "log": shape.log,
        "perFlow": shape.per_flow,
        "largest": shape.largest,
        "factor": shape.factor,
        "size": one.size,
        "error": one.error,
        "share": one.share,
        "parts": [_part(weights, places) for weights, places, _ in blocks],
    }


def _block(part: Any) -> tuple[np.ndarray, list[int], tuple[int, ...]]:
    """Return weights, their places in the block of all orders, and the sizes of the block."""
    if isinstance(part, Scattered):
        counts = tuple(int(n) + 1 for n in np.max(part.orders, axis=0))
        return part.weights, np.ravel_multi_index(tuple(part.orders.T), counts).tolist(), counts
    whole = part.coefficients["part"]
    return whole.ravel(), [], whole.shape


def _part(weights: np.ndarray, places: list[int]) -> dict[str, Any]:
    """Return one series in whole numbers; `at`: the places of weights, where most are none."""
    unit = step(weights)
    told = {"step": unit, "whole": np.round(weights / unit).astype(int).tolist()}
    return told | ({"at": places} if places else {})


def _axes(verdict: Verdict, carriage: Carriage) -> list[str]:
    """Return the dials of the window: those along which the most limits are crossed.

    Across stands one that is turned; of equals up, one that is read. A limit on the dial itself
    tells nothing.
    """
    crossed = {dial.address: _crossed(dial, verdict, carriage) for dial in carriage.dials}
    turned = [dial for dial in carriage.dials if not dial.read] or list(carriage.dials)
    across = max(turned, key=lambda dial: crossed[dial.address])
    rest = [dial for dial in carriage.dials if dial != across]
    up = max(rest, key=lambda dial: (crossed[dial.address], dial.read))
    return [across.address, up.address]


def _crossed(dial: Dial, verdict: Verdict, carriage: Carriage) -> int:
    points = {other.address: np.full(STEPS, other.now) for other in carriage.dials}
    told = carriage(points | {dial.address: np.linspace(dial.low, dial.high, STEPS)})
    count = 0
    for number, limit in enumerate(verdict.limits):
        names = {value_of(number), limit_of(number)}
        if limit.address != dial.address and names <= set(told):
            room = told[value_of(number)] - told[limit_of(number)]
            count += bool(np.any(room > 0) and np.any(room < 0))
    return count


def _left(carriage: Carriage, system: str) -> str:
    """Return a line on the dials left out, nothing where there are none."""
    told = []
    for dial in carriage.left:
        now = quantities.text(dial.now, dial.quantity, system)
        told.append(f"{dial.address} ({dial.words}) stands at {now}")
    if not told:
        return ""
    return f'<p class="quiet" id="left">{html.escape(words.LEFT.format(left="; ".join(told)))}</p>'


def _listed(lines: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{html.escape(line)}</li>' for line in lines)}</ul>"


def _remarks(verdict: Verdict, carriage: Carriage, system: str) -> str:
    """Return what is told of the case, and what else is told somewhere within the dials."""
    here = [*verdict.told(0, system), *verdict.excursions(0, system)]
    seen = carriage.seen
    templates = {finding.text for finding in verdict.findings if np.all(finding.where)}
    elsewhere = {}
    for finding in seen.findings:
        where = np.broadcast_to(finding.where, (seen.result.points,))
        if np.any(where) and finding.text not in templates and not finding.blocks:
            elsewhere[finding.text] = finding.message(int(np.argmax(where)), system)
    spans = {
        f"{unit}: {e.range.formula}: {e.range.name.replace('_', ' ')}" for unit, e in seen.beyond
    }
    beyond = [words.BEYOND.format(what=span) for span in sorted(spans)]
    rows = [line for line in [*elsewhere.values(), *beyond] if line not in here]
    text = f"<h3>{words.HERE}</h3>{_listed(here or [words.NONE])}"
    return text + (f"<h3>{words.ELSEWHERE}</h3>{_listed(rows)}" if rows else "")


def _cautions(verdict: Verdict) -> str:
    long = _listed(verdict.cautions)
    return f"{_listed(cautions(verdict))}<details><summary>{words.WHOLE}</summary>{long}</details>"


def _sure(
    verdict: Verdict, carriage: Carriage, answers: Sequence[tuple[str, str]], system: str
) -> str:
    """Return the errors measured, a row for each number carried."""
    rows = []
    for number, limit in enumerate(verdict.limits):
        rows.append((limit.full_name, _error(value_of(number), carriage, limit.quantity, system)))
    for text, address in answers:
        rows.append((text, _error(address, carriage, verdict.value(address).quantity, system)))
    body = "".join(
        f'<tr><th scope="row">{html.escape(name)}</th><td>{html.escape(text)}</td></tr>'
        for name, text in rows
    )
    intro = words.SURE.format(solved=carriage.solved, checks=carriage.checks)
    head = f"<p>{intro}</p><details><summary>{words.ERRORS}</summary>"
    return f"{head}<table><tbody>{body}</tbody></table></details><p>{words.ONLY}</p>"


def _error(name: str, carriage: Carriage, quantity: str, system: str) -> str:
    if name in carriage.fixed:
        return words.STILL
    if name in carriage.composed:
        reads = names_in(carriage.composed[name]) & set(carriage.fields)
        worst = max((carriage.fields[read].error for read in reads), default=0.0)
        return words.COMPOSED.format(share=f"{100 * worst:.2g}")
    if name not in carriage.fields:
        return words.LOST
    one = carriage.fields[name]
    if one.share:
        return words.OF_VALUE.format(share=f"{100 * one.error:.2g}")
    wide = one.error * one.size * quantities.shown(quantity, system)[1]
    unit = quantities.shown(quantity, system)[0]
    if quantity == "ph":  # a share of a logarithm says nothing
        return words.WITHIN.format(wide=f"{wide:.2g}")
    return words.OF_LIMIT.format(share=f"{100 * one.error:.2g}", wide=f"{wide:.2g} {unit}".strip())
