"""Rules that turn a treatment step into a barrier of the ledger."""

from __future__ import annotations

import numpy as np

from treatsim.errors import DomainError, require
from treatsim.numerics import distinct
from treatsim.operations.outcome import ROUND_OFF
from treatsim.safety import ct_tables
from treatsim.safety.composed_credit import held, single, stepped_chlorine
from treatsim.safety.log_credit import CLASSES, Barrier, Term

CARTRIDGE_RULES = {False: (1.0, 2.0), True: (0.5, 2.5)}  # in series -> safety log, cap
CHALLENGE_FEED_LIMIT = 1e4  # times the detection limit
RO_CAP = 2.0
CHLORINE_CLAUSE = "cfr_141_74 (b)(3)"
SLACK = 1.0 + ROUND_OFF  # on a limit counts as met
NORMAL_TURBIDITY = 1.0  # NTU
HIGHEST_TURBIDITY = 5.0  # NTU, above which chlorine and UV earn nothing


def challenge_log(filters, feed, detection_limit):
    """Challenge result of a filter type from the results of the filters tested.

    Parameters
    ----------
    filters : array_like
        Log reduction of each filter, the lowest of its run. [log]
    feed : float
        Challenge concentration in the feed. [1/m3]
    detection_limit : float
        Smallest concentration that can be told in the filtrate. [1/m3]

    Returns
    -------
    float
        The lowest below 20 filters, else the 10th percentile. [log]

    Validity
    --------
    A feed above 10 000 times the detection limit, or no filter, raises DomainError.

    Source
    ------
    cfr_141_719 (a); the rule by number of filters from memory
    """
    logs = require("challenge result", filters, 0.0, np.inf, "log")
    if logs.ndim != 1 or logs.size == 0:
        raise DomainError("a challenge test needs the result of each filter")
    if feed > CHALLENGE_FEED_LIMIT * detection_limit * SLACK:
        raise DomainError("challenge feed above 10 000 times the detection limit: not accepted")
    return float(np.min(logs) if logs.size < 20 else np.percentile(logs, 10, method="lower"))


def cartridge_log_credit(challenge, in_series: bool = False):
    """Cryptosporidium credit of bag or cartridge filters from their challenge test.

    Parameters
    ----------
    challenge : array_like
        Log reduction shown in the challenge test of this element in this housing. [log]
    in_series : bool
        Two stages tested together as a pair. [1]

    Returns
    -------
    ndarray
        Credit, shape of `challenge`. [log]

    Validity
    --------
    A rating in micrometres is no challenge test. Negative values raise DomainError.

    Source
    ------
    cfr_141_719 (a)
    """
    margin, cap = CARTRIDGE_RULES[bool(in_series)]
    challenge = require("challenge result", challenge, 0.0, np.inf, "log")
    return np.clip(challenge - margin, 0.0, cap)


def cartridge_barrier(
    challenge, flow, tested_flow, pressure_drop, tested_pressure_drop, in_series: bool = False
) -> Barrier:
    """Bag or cartridge filters; without a challenge test they earn nothing.

    Parameters
    ----------
    challenge : array_like or None
        Log reduction of the challenge test; None for a rating only. [log]
    flow : array_like
        Flow through one housing. [m3/s]
    tested_flow : array_like
        Flow of the challenge test. [m3/s]
    pressure_drop : array_like
        Pressure drop today. [Pa]
    tested_pressure_drop : array_like
        Pressure drop to which the test was run. [Pa]
    in_series : bool
        Two stages tested together as a pair. [1]

    Returns
    -------
    Barrier
        Credit for Cryptosporidium only. [log]

    Validity
    --------
    The same element and housing as tested, and the whole flow passes it. Giardia is not credited:
    the clause names Cryptosporidium.

    Source
    ------
    cfr_141_719 (a)
    """
    source, cause = "cfr_141_719 (a)", "cartridge filtration"
    if challenge is None:
        text = "challenge test of this element in this housing; a rating in micrometres earns none"
        return Barrier("cartridge filters", {}, source, (), (text,), cause)
    terms = (
        Term(
            "flow at or below that of the challenge test",
            np.asarray(flow) <= np.asarray(tested_flow) * SLACK,
        ),
        Term(
            "pressure drop at or below that reached in the challenge test",
            np.asarray(pressure_drop) <= np.asarray(tested_pressure_drop) * SLACK,
        ),
    )
    missing = ("the authority's word, before the same credit counts for the larger Giardia cyst",)
    credit = {"cryptosporidium": cartridge_log_credit(challenge, in_series)}
    earned = single(credit["cryptosporidium"])
    bounds = {"flow": single(tested_flow), "pressure drop": single(tested_pressure_drop)}
    steps = {} if earned is None else {"cryptosporidium": held(earned, bounds, {})}
    reads = {"flow": flow, "pressure drop": pressure_drop}
    return Barrier("cartridge filters", credit, source, terms, missing, cause, steps, reads)


def settling_barrier() -> Barrier:
    """Plain settling: it saves filters and earns no log.

    Parameters
    ----------
    None

    Returns
    -------
    Barrier
        Without credit. [log]

    Validity
    --------
    Settling without coagulant and daily proof.

    Source
    ------
    common practice
    """
    missing = ("coagulation under daily control, with proof the authority accepts",)
    return Barrier("settling", {}, "common practice", (), missing)


def ro_log_credit(feed_conductivity, permeate_conductivity):
    """Credit of reverse osmosis from conductivity, capped.

    Parameters
    ----------
    feed_conductivity : array_like
        Conductivity of the feed at 25 degC. [S/m]
    permeate_conductivity : array_like
        Conductivity of the permeate at 25 degC, the worst vessel. [S/m]

    Returns
    -------
    ndarray
        Credit, 0 to 2, broadcast shape. [log]

    Validity
    --------
    Only the ratio counts. Salt passes sound membrane too, so the ratio understates sound elements;
    it says nothing about growth on the permeate side. Values not above zero raise DomainError.

    Source
    ------
    common practice of regulators
    """
    feed = require("feed conductivity", feed_conductivity, 0.0, np.inf, "S/m", open_low=True)
    permeate = require(
        "permeate conductivity", permeate_conductivity, 0.0, np.inf, "S/m", open_low=True
    )
    return np.clip(np.log10(feed / permeate), 0.0, RO_CAP)


def ro_barrier(feed_conductivity, permeate_conductivity, read_today) -> Barrier:
    """Reverse osmosis as a barrier, on its conductivity reading of the day.

    Parameters
    ----------
    feed_conductivity : array_like
        Conductivity of the feed at 25 degC. [S/m]
    permeate_conductivity : array_like
        Conductivity of the permeate at 25 degC. [S/m]
    read_today : array_like of bool
        Whether both were read within the day. [1]

    Returns
    -------
    Barrier
        The same credit for every class. [log]

    Validity
    --------
    As `ro_log_credit`; nothing without a daily reading.

    Source
    ------
    common practice of regulators
    """
    credit = ro_log_credit(feed_conductivity, permeate_conductivity)
    terms = (Term("conductivity of feed and permeate read every day", read_today),)
    missing = ("an integrity test finer than conductivity, before more than 2 log counts",)
    every, known = dict.fromkeys(CLASSES, credit), isinstance(read_today, bool)
    ratio = ["log10", ["over", "feed conductivity", "permeate conductivity"]]
    tree = ["least", RO_CAP, ["most", 0.0, ratio]] if read_today is True else 0.0
    reads = {"feed conductivity": feed_conductivity, "permeate conductivity": permeate_conductivity}
    return Barrier("reverse osmosis", every, "common practice", terms, missing,
                   steps=dict.fromkeys(CLASSES, tree) if known else {}, reads=reads)  # fmt: skip


def turbidity_term(turbidity) -> Term:
    """Condition that turbidity is low enough for chlorine or UV to count.

    Parameters
    ----------
    turbidity : array_like
        Turbidity where the disinfectant acts. [NTU]

    Returns
    -------
    Term
        Met up to 5 NTU. [1]

    Validity
    --------
    From 1 to 5 NTU the credit stands but is owed a remark (`turbidity_remarks`).

    Source
    ------
    who_gdwq_2011, from memory
    """
    value = require("turbidity", turbidity, 0.0, np.inf, "NTU")
    return Term("turbidity at or below 5 NTU", value <= HIGHEST_TURBIDITY)


def turbidity_remarks(turbidity) -> tuple[str, ...]:
    """What is owed where turbidity stands between normal and the limit.

    Parameters
    ----------
    turbidity : array_like
        Turbidity where the disinfectant acts. [NTU]

    Returns
    -------
    tuple of str
        One remark, or none.

    Validity
    --------
    Any turbidity not below zero.

    Source
    ------
    who_gdwq_2011, from memory
    """
    value = require("turbidity", turbidity, 0.0, np.inf, "NTU")
    if np.any((value > NORMAL_TURBIDITY) & (value <= HIGHEST_TURBIDITY)):
        return ("turbidity below 1 NTU: particles shield microbes, more dose does not cure it",)
    return ()


def chlorine_barrier(residual_end, contact_time, temperature, ph, turbidity) -> Barrier:
    """Free chlorine as a barrier: CT with the residual at the end of the contact.

    Parameters
    ----------
    residual_end : array_like
        Free chlorine at the end of the contact. [kg/m3]
    contact_time : array_like
        Time that counts (T10, or the closed waiting time). [s]
    temperature : array_like
        Coldest water temperature. [K]
    ph : array_like
        Acidity. [1]
    turbidity : array_like
        Turbidity of the water dosed. [NTU]

    Returns
    -------
    Barrier
        Giardia and virus by table, bacteria with the virus step, Cryptosporidium none. [log]

    Validity
    --------
    As `ct_tables`. Points the tables refuse earn nothing, and the terms say why; a residual above
    the last line counts as that line, and the remarks say so. Bacteria at least as sensitive as
    virus is common practice.

    Source
    ------
    cfr_141_74 (b)(3) for Giardia, epa_816_r_03_004 for virus, both from memory
    """
    residual = require("residual", residual_end, 0.0, np.inf, "kg/m3")
    ct = residual * require("contact time", contact_time, 0.0, np.inf, "s")
    found = ct_tables.giardia_lookup(temperature, ph, residual)
    _, virus_refused, virus_reasons = ct_tables.virus_lookup(temperature, ph)
    virus = ct_tables.virus_log_credit(ct, temperature, ph)
    credits = {
        "bacteria": virus,
        "virus": virus,
        "giardia": ct_tables.giardia_log_credit(ct, temperature, ph, residual),
    }
    terms = [turbidity_term(turbidity)]
    if found.reasons:
        words = "inside the Giardia table (" + "; ".join(found.reasons) + ")"
        terms.append(Term(words, ~found.refused, ("giardia",)))
    if virus_reasons:
        words = "inside the virus table (" + "; ".join(virus_reasons) + ")"
        terms.append(Term(words, ~virus_refused, ("bacteria", "virus")))
    missing = (*turbidity_remarks(turbidity), "another barrier against Cryptosporidium")
    end = ct_tables.tables()["giardia"]["chlorine"][-1]
    if np.any(residual > end * 1e-3 * SLACK):
        missing += (f"Giardia: free chlorine above {end:g} mg/L counts as {end:g}: the table ends",)
    acidity = single(distinct(ph))
    trees = {} if acidity is None else stepped_chlorine(acidity)
    bound = {"turbidity": HIGHEST_TURBIDITY}
    steps = {cls: held(tree, bound, {}) for cls, tree in trees.items()}
    reads = {"residual": residual, "time": contact_time, "temperature": temperature,
             "turbidity": turbidity}  # fmt: skip
    return Barrier("free chlorine", credits, CHLORINE_CLAUSE, tuple(terms), missing,
                   steps=steps, reads=reads)  # fmt: skip
