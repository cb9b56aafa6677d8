"""The only room that ties the stages together: connect → interpret → rules → store → live."""

from swarfline.collect.collector import Collector
from swarfline.collect.pipeline import Pipeline
from swarfline.collect.settings import machine_settings

__all__ = ["Collector", "Pipeline", "machine_settings"]
