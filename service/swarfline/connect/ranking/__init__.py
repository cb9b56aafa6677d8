"""Signals by what variables are called and how they behave, where no standard says what they are. Pure."""

from swarfline.connect.ranking.grouping import Group, group_machines
from swarfline.connect.ranking.propose import propose

__all__ = ["Group", "group_machines", "propose"]
