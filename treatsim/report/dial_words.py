"""Words of the page with dials, beside those it shares with the screen."""

from __future__ import annotations

from treatsim.report.screen import UNFIT

UNREAD = "Nothing is answered yet: this page needs its script, which this browser does not run."
HELPING = (
    "One change at a time, each read off the numbers of this page and kept clear of their error: "
    "treatsim solve may allow a little more."
)
ORIGIN = (
    "{case}, fingerprint {mark}; treatsim {version}, {date}. A planning aid: local codes go first."
)
NOT_CARRIED = "depends on more than this page carries: treatsim solve"
HERE = "As the case stands"
ELSEWHERE = "Somewhere within the dials also"
BEYOND = "outside its range: {what}"
NONE = "none"
WHOLE = "The cautions in full"
ERRORS = "The error of each number"
STILL = "the same at every setting"
LOST = "not carried"
COMPOSED = "by its own rule, from numbers each known within {share} %"
OF_VALUE = "within {share} % of the value"
OF_LIMIT = "within {wide}, {share} % of the limit"
WITHIN = "within {wide}"
ONLY = (
    "Outside the ranges of the dials, and for anything that is no dial here, this page knows "
    "nothing: ask treatsim solve."
)
SURE = (
    "The train itself was solved at {solved} settings. The numbers here are series through them; "
    "each error is twice the largest miss at {checks} other settings, many on the ends of the "
    "dials. What lies between is not proven. A value closer to its limit than its error is too "
    "near to tell, and counts as not met. How well the train is known is another question, and "
    "the spreads of its inputs are not in these numbers: treatsim uncertainty."
)
LEFT = (
    "No dials here, as every solve of a train with a recycle is dear: {left}. Where one of them "
    "stands otherwise, nothing on this page holds: ask treatsim solve."
)
TOLD = {
    "near": "too near to tell",
    "unfit": UNFIT,
    "outside": "A dial stands outside its range: not judged. Ask treatsim solve.",
    "unknown": "OUTSIDE what this page knows",
    "notHere": "not on this page",
    "allMet": "every limit judged here is met then",
    "noHelp": "No single dial does. Other changes: treatsim solve.",
    "carried": "known from {low} to {high}; the case has {now}",
    "cut": "; cut where the train has no answer or the error grows",
    "states": {
        "met": "met",
        "not_met": "NOT MET",
        "near": "too near to tell, counts as not met",
        "not_judged": "not judged",
        "waived": "waived",
    },
}
