"""Swarfline: production monitoring for machine tools. It only reads machines; it never commands one."""

__version__ = "0.1.0"
