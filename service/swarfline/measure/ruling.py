"""What a study says, in words that claim no more than the figures do."""

from __future__ import annotations

from swarfline.measure.ranks import LEVEL, Interval
from swarfline.measure.study import (
    FASTER,
    FEWEST,
    MANY_LEFT_OUT,
    NOT_SHOWN,
    SLOWER,
    TOO_FEW,
    UNCLEAR,
    Sample,
    Study,
    side,
)

SURE = f"{100 * LEVEL:.0f} %"


def in_words(study: Study) -> str:
    """The ruling of a study in one or two sentences."""
    ruling = study.ruling
    if ruling == TOO_FEW or study.means is None or study.shift_interval_s is None:
        counts = f"{study.first.count} and {study.second.count} steady ones"
        if min(study.first.count, study.second.count) >= FEWEST:
            return f"Not enough cycles: of {counts} each is so like the one before that they tell too little."
        return f"Not enough cycles: {counts}; at least {FEWEST} of each are needed."
    difference, interval = study.means.difference, study.means.interval
    if ruling in (FASTER, SLOWER):
        bounds = sorted(map(abs, interval))
        share = abs(difference) / (study.first.mean_s or 1)
        return (
            f"The second is {ruling} by {abs(difference):.2f} s a cycle "
            f"({SURE}: {bounds[0]:.2f} to {bounds[1]:.2f} s), {100 * share:.1f} % of the first."
        )
    if ruling == NOT_SHOWN:
        return (
            "A difference is not shown. That is no proof of none: the second may be from "
            f"{_signed(interval)} than the first ({SURE})."
        )
    return _unclear(study, interval, study.shift_interval_s)


def _unclear(study: Study, means: Interval, shift: Interval) -> str:
    assert study.ruling == UNCLEAR
    if side(means) and side(shift):
        return "The mean and the typical cycle moved in opposite ways: look at the single cycles first."
    told, other = ("mean", "typical cycle") if side(means) else ("typical cycle", "mean")
    found = means if side(means) else shift
    way = "shorter" if side(found) < 0 else "longer"
    return (
        f"Not clear: the {told} is {way}, but for the {other} a difference is not shown. "
        "Look at the longest cycles, or get more of them."
    )


def _signed(interval: Interval) -> str:
    low, high = interval
    words = [f"{abs(v):.2f} s {'faster' if v < 0 else 'slower'}" for v in (low, high)]
    return " to ".join(words)


def cautions(study: Study) -> list[str]:
    """What a reader should know before relying on the ruling."""
    found = [*_of_sample("first", study.first), *_of_sample("second", study.second)]
    first, second = (_parts_per_cycle(s) for s in (study.first, study.second))
    if first is not None and second is not None and abs(first - second) > 0.01:
        found.append(
            f"The first makes {first:.2f} parts a cycle, the second {second:.2f}: compare the times per part."
        )
    return found


def _of_sample(name: str, sample: Sample) -> list[str]:
    found = []
    if sample.autocorrelation is not None and sample.effective < sample.count:
        found.append(
            f"Cycles of the {name} are like those before them (autocorrelation {sample.autocorrelation:.2f}): its "
            f"{sample.count} count as {sample.effective:.0f} for the mean; the interval of the shift and the "
            "probability by ranks take no account of it and claim too much."
        )
    every = sample.count + sample.left_out
    if sample.left_out and sample.left_out >= MANY_LEFT_OUT * every:
        found.append(
            f"Of the {name}, {sample.left_out} of {every} cycles were left out "
            f"({sample.held} held, {sample.aborted} aborted, {sample.partial} partial, {sample.running} running)."
        )
    return found


def _parts_per_cycle(sample: Sample) -> float | None:
    return sample.parts / sample.count if sample.parts else None
