"""What commands say on standard error, kept with an answer so that it is said again with it."""

from collections.abc import Iterator
from contextlib import contextmanager

import click

__all__ = ["heard", "say"]

_ears: list[list[str]] = []


def say(words: str) -> None:
    """Say something on standard error."""
    for ear in _ears:
        ear.append(words)
    click.echo(words, err=True)


@contextmanager
def heard() -> Iterator[list[str]]:
    """Give a list of all that is said meanwhile."""
    said: list[str] = []
    _ears.append(said)
    try:
        yield said
    finally:
        _ears.remove(said)
