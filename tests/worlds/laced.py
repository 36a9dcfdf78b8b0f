"""A neighbourhood and its tables with somebody's markup in every text."""

import dataclasses
from collections.abc import Mapping

import pandas as pd

# Texts that people read; keys, units and words that code asks for stay as they are.
_READ = frozenset(
    {
        "citation", "control", "harm", "hazard", "hint", "home_is", "latin", "left", "likelihood",
        "name", "note", "said", "task", "words",
    }
)  # fmt: skip


def laced_tables(value, payload, done=None):
    """The tables with `payload` behind every text that somebody reads."""
    done = {} if done is None else done
    if id(value) in done:
        return done[id(value)][0]
    out = value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        changed = {}
        for field in dataclasses.fields(value):
            old = getattr(value, field.name)
            if isinstance(old, str):
                new = f"{old}{payload}" if old and field.name in _READ else old
            else:
                new = laced_tables(old, payload, done)
            if new is not old:
                changed[field.name] = new
        out = dataclasses.replace(value, **changed) if changed else value
    elif isinstance(value, Mapping):
        out = {key: laced_tables(one, payload, done) for key, one in value.items()}
    elif type(value) is tuple:
        out = tuple(laced_tables(one, payload, done) for one in value)
        out = out if any(a is not b for a, b in zip(out, value, strict=True)) else value
    done[id(value)] = (out, value)  # the old one is kept too, so that its id stays its own
    return out


def laced_neighbourhood(hood, payload):
    """The neighbourhood with `payload` in ids, labels, streets, names and credits."""
    plots = hood.plots.copy()
    for column in ("label", "street"):
        plots[column] = [f"{words}{payload}" for words in plots[column]]
    renamed = {old: f"{old}{payload}" for old in plots.index}
    plots.index = pd.Index([renamed[old] for old in plots.index], name=plots.index.name)
    first = dataclasses.fields(hood.answers)[0].name
    answers = dataclasses.replace(hood.answers, **{first: plots.index})

    def named(table):
        return table.assign(name=[f"{words}{payload}" if words else words for words in table.name])

    return dataclasses.replace(
        hood,
        name=f"{hood.name}{payload}",
        plots=plots,
        answers=answers,
        features=hood.features.assign(plot=hood.features["plot"].map(renamed)),
        buildings=named(hood.buildings),
        roads=named(hood.roads),
        footways=named(hood.footways),
        credits=(*hood.credits, f"Made up{payload}"),
    )
