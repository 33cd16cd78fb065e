"""What the commands share: exit statuses, changes of inputs, colour."""

from __future__ import annotations

import enum
import os
import signal
from collections.abc import Callable
from typing import Any, NamedTuple

from treatsim import errors
from treatsim.console import on_terminal


class Command(NamedTuple):
    """What the command line must know of a command."""

    run: Callable[[Any], int]
    summary: str
    example: str
    options: tuple[str, ...]  # keys of `cli_options.OPTIONS`


class Exit(enum.IntEnum):
    """Exit statuses."""

    DONE = 0  # done, and every criterion is met
    NOT_MET = 1  # done, and a criterion is not met
    WRONG = 2  # the request or the case is wrong
    NO_SOLUTION = 3  # no operating point exists at this setting
    INTERNAL = 70
    HUNG_UP = 128 + signal.SIGHUP
    INTERRUPTED = 128 + signal.SIGINT
    TERMINATED = 128 + signal.SIGTERM


def changes(arguments) -> dict[str, str]:
    """Return the --set options as a mapping."""
    found = {}
    for text in arguments.set or ():
        address, equals, value = text.partition("=")
        if not equals or not address.strip():
            raise errors.RequestError(
                f'--set {text}: write ADDRESS=VALUE, such as "lift_pump.speed=85 %"'
            )
        found[address.strip()] = value.strip()
    return found


def colour(arguments) -> bool:
    """Whether the text may carry colour: a terminal, no file, NO_COLOR unset."""
    return arguments.out is None and on_terminal() and not os.environ.get("NO_COLOR")
