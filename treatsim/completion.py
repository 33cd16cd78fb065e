"""What a shell may put where a command asks for a name: kinds, tables and addresses of inputs."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable
from typing import Any

Words = Callable[[Any], Iterable[str]]  # of the arguments read so far


def complete(top: argparse.ArgumentParser) -> None:
    """Answer a shell that asks what may come next, and end; else do nothing."""
    import argcomplete

    for command in _commands(top).values():
        for action in command._actions:
            key = (command.prog.split()[-1], action.dest)
            if words := WORDS.get(key) or WORDS.get(("", action.dest)):
                action.completer = _Completer(words, action.dest == "names")  # type: ignore
    argcomplete.autocomplete(top)


def _commands(top: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    (found,) = (a for a in top._actions if isinstance(a, argparse._SubParsersAction))
    return found.choices


class _Completer:
    """Names that begin as typed; files too where a case may stand."""

    def __init__(self, words: Words, files: bool) -> None:
        self.words, self.files = words, files

    def __call__(self, prefix: str, parsed_args: Any, **_: Any) -> list[str]:
        found = [word for word in self.words(parsed_args) if word.startswith(prefix)]
        if self.files:
            from argcomplete.completers import FilesCompleter

            found += FilesCompleter()(prefix)
        return found


def _starters(_: Any) -> Iterable[str]:
    from treatsim.report import starters

    return starters.kinds()


def _described(_: Any) -> Iterable[str]:
    from treatsim import case_sections, operations

    return (*operations.kinds(), *case_sections.SECTIONS)


def _inputs(arguments: Any) -> Iterable[str]:
    """Return the addresses of inputs of the case on the line, if it can be read."""
    from treatsim import cases, errors

    first = getattr(arguments, "cases", None) or [""]
    named = getattr(arguments, "case", None) or first[0]
    try:
        return cases.load(named).inputs() if named and named != "-" else ()
    except errors.RequestError:
        return ()


def _settings(arguments: Any) -> Iterable[str]:
    return (f"{address}=" for address in _inputs(arguments))


WORDS: dict[tuple[str, str], Words] = {  # (command or any, argument) -> names
    ("new", "kind"): _starters,
    ("describe", "names"): _described,
    ("", "adjust"): _inputs,
    ("", "set"): _settings,
    ("", "vary"): _settings,
    ("", "throughout"): _settings,
}
