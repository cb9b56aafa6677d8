"""Watching: rules see, the judge turns what they see into alerts."""
