"""The lifelike export: the clean world with its troubles and its slips."""

from __future__ import annotations

from kit.synthetic.group import ORDER, Group, tables
from kit.synthetic.slips import SLIPS, habits
from kit.synthetic.troubles import TROUBLES, Story, Tables
from kit.synthetic.world import stream


def lifelike(group: Group) -> tuple[Tables, list[Story]]:
    """The tables with every story planted. Row labels are kept, so that each story can still name its rows."""
    told = tables(group, lifelike=True)
    stories = []
    for plant in (*SLIPS, *TROUBLES):
        told, story = plant(group, told, stream(group.seed, plant.__name__))
        stories.append(story)
    return {name: frame.sort_values(ORDER[name]) for name, frame in told.items()}, [*habits(group, told), *stories]
