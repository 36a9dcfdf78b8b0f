"""A mapping that answers an unknown name with the nearest spelling."""

from collections.abc import Iterator, Mapping
from typing import TypeVar

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _

__all__ = ["Named"]

Thing = TypeVar("Thing")


class Named(Mapping[str, Thing]):
    """Things by their names, in order; it cannot be changed.

    Parameters
    ----------
    things
        Name to thing.
    what
        What a name stands for, such as ``"animal"``.

    Raises
    ------
    WrongUse
        When an unknown name is asked for with ``[]``; `get` and `in` work as ever.

    Examples
    --------
    >>> Named({"wren": 1}, "animal")["wrenn"]
    Traceback (most recent call last):
    ...
    patchnet.core.errors.WrongUse: There is no animal 'wrenn' here. Did you mean wren?
    """

    __slots__ = ("_things", "_what")

    def __init__(self, things: Mapping[str, Thing], what: str) -> None:
        self._things = dict(things)
        self._what = what

    def __getitem__(self, name: str) -> Thing:
        """The thing of that name."""
        if name not in self._things:
            hint = nearest_hint(str(name), self._things)
            raise WrongUse(
                _("There is no {what} {name!r} here.{hint}").format(
                    what=self._what, name=name, hint=hint
                )
            )
        return self._things[name]

    def __contains__(self, name: object) -> bool:
        """Whether there is one of that name."""
        return name in self._things

    def get(self, name: str, default: Thing | None = None) -> Thing | None:  # type: ignore[override]
        """The thing of that name, or `default`."""
        return self._things.get(name, default)

    def __iter__(self) -> Iterator[str]:
        """Names, in order."""
        return iter(self._things)

    def __len__(self) -> int:
        """How many there are."""
        return len(self._things)

    def __repr__(self) -> str:
        """How many there are and their names."""
        return f"{len(self)}: {', '.join(self)}"
