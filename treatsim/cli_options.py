"""Options of the command line, each once: flags and what argparse needs to know of them."""

from __future__ import annotations

OPTIONS: dict[str, tuple[tuple[str, ...], dict]] = {
    "CASE": (
        ("case",),
        {"metavar": "CASE", "help": "case file (TOML); - reads it from standard input"},
    ),
    "READINGS": (
        ("readings",),
        {"metavar": "READINGS", "help": "log (CSV): a time and readings, each headed name [unit]"},
    ),
    "CASES": (("cases",), {"metavar": "CASE", "nargs": "+", "help": "case files (TOML)"}),
    "[CASES]": (("cases",), {"metavar": "CASE", "nargs": "*", "help": "case files (TOML)"}),
    "KIND": (
        ("kind",),
        {
            "metavar": "KIND",
            "help": "river, lake, sea ...: treatsim describe",
        },
    ),
    "[NAMES]": (
        ("names",),
        {"metavar": "NAME", "nargs": "*", "help": "a kind, table, case or address; CASE ADDRESS"},
    ),
    "KEY": (("key",), {"metavar": "KEY", "nargs": "?", "help": "one source"}),
    "--set": (
        ("--set",),
        {
            "metavar": "ADDRESS=VALUE",
            "action": "append",
            "help": "change an input; may be repeated",
        },
    ),
    "--full": (("--full",), {"action": "store_true", "help": "print everything, not one screen"}),
    "--json": (("--json",), {"action": "store_true", "help": "print one JSON document"}),
    "--units": (("--units",), {"choices": ("si", "us"), "default": "si", "help": "units shown"}),
    "--strict": (
        ("--strict",),
        {"action": "store_true", "help": "refuse results outside a formula's range, or not judged"},
    ),
    "--out": (
        ("--out",),
        {
            "metavar": "PATH",
            "help": "write to a file, whole or not at all; form by its suffix",
        },
    ),
    "--out LOG": (
        ("--out",),
        {
            "metavar": "PATH",
            "help": "a .txt, .json, .csv of every row, .svg or .png, or a .toml case of today",
        },
    ),
    "--png": (("--png",), {"action": "store_true", "help": "a PNG beside every SVG"}),
    "--out DIR": (("--out",), {"metavar": "DIR", "help": "directory for the pictures"}),
    "--vary": (
        ("--vary",),
        {
            "metavar": "ADDRESS=FROM:TO:COUNT",
            "action": "append",
            "required": True,
            "help": "values of an input, or a list ADDRESS=a,b,c; several make a grid",
        },
    ),
    "--show": (
        ("--show",),
        {"metavar": "ADDRESS", "action": "append", "help": "a result, or all; may be repeated"},
    ),
    "--out TABLE": (
        ("--out",),
        {"metavar": "PATH", "help": "a .csv, .xlsx, .parquet or .json file"},
    ),
    "--out SHEET": (
        ("--out",),
        {"metavar": "PATH", "help": "a .pdf or .html file, written whole or not at all"},
    ),
    "--paper": (
        ("--paper",),
        {"choices": ("a4", "letter"), "default": "a4", "help": "size of the paper; a4"},
    ),
    "--adjust": (
        ("--adjust",),
        {"metavar": "ADDRESS", "action": "append", "required": True, "help": "input to be set"},
    ),
    "--until": (
        ("--until",),
        {
            "metavar": '"ADDRESS >= VALUE"',
            "action": "append",
            "help": "what must be met; without it, every limit of the case",
        },
    ),
    "--best": (
        ("--best",),
        {"metavar": '"largest ADDRESS"', "default": "", "help": 'or "smallest ADDRESS"'},
    ),
    "--throughout": (
        ("--throughout",),
        {
            "metavar": "ADDRESS=VALUES",
            "action": "append",
            "help": "must be met at every one of a,b,c or FROM:TO:COUNT of another input",
        },
    ),
    "--recovery": (
        ("--recovery",),
        {"metavar": "PERCENT", "help": "at which scale is looked at; else as the vessel runs"},
    ),
    "--each": (
        ("--each",),
        {"action": "store_true", "help": "how far before each requirement by itself"},
    ),
    "--samples": (
        ("--samples",),
        {"metavar": "N", "help": "at least so many samples of the uncertain inputs"},
    ),
    "--event": (
        ("--event",),
        {
            "metavar": "KIND@TIME",
            "action": "append",
            "help": "lamp_failure, power_dip, pump_step or dull_water, such as lamp_failure@600s; "
            "of one lamp of several UNIT.lamp_failure@600s",
        },
    ),
    "--months": (
        ("--months",),
        {"metavar": "N", "type": float, "required": True, "help": "months to plan for, up to 24"},
    ),
    "--level": (
        ("--level",),
        {"metavar": "PERCENT", "help": "chance that nothing runs out; else that of [spares]"},
    ),
    "--readings": (
        ("--readings",),
        {"metavar": "FILE", "help": "CSV of logged pressure drops, from which it is forecast anew"},
    ),
    "--scenarios": (
        ("--scenarios",),
        {
            "metavar": "N",
            "type": int,
            "help": "scenarios drawn; else 2000, or 600 where elements are changed one by one",
        },
    ),
    "--scheduler": (
        ("--scheduler",),
        {"metavar": "ADDRESS", "help": "Dask scheduler whose workers run the scenarios"},
    ),
    "--date": (
        ("--date",),
        {"metavar": "MM-DD", "help": "month and day; else the middle of the month of least sun"},
    ),
    "--dull": (
        ("--dull",),
        {"action": "store_true", "help": "as dull as one day in ten, instead of a clear one"},
    ),
    "--debug": (("--debug",), {"action": "store_true", "help": "show the traceback of an error"}),
}
