"""What a study says, in words that claim no more than the figures do."""

from __future__ import annotations

from swarfline.measure.ranks import Interval
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
from swarfline.sentence import N_, Sentence

_BY = {
    FASTER: N_(
        "The second is faster by {size:.2f} s a cycle (95 %: {low:.2f} to {high:.2f} s), {share:.1f} % of "
        "the first."
    ),
    SLOWER: N_(
        "The second is slower by {size:.2f} s a cycle (95 %: {low:.2f} to {high:.2f} s), {share:.1f} % of "
        "the first."
    ),
}
_UNCLEAR = {
    ("mean", -1): N_(
        "Not clear: the mean is shorter, but for the typical cycle a difference is not shown. "
        "Look at the longest cycles, or get more of them."
    ),
    ("mean", 1): N_(
        "Not clear: the mean is longer, but for the typical cycle a difference is not shown. "
        "Look at the longest cycles, or get more of them."
    ),
    ("typical", -1): N_(
        "Not clear: the typical cycle is shorter, but for the mean a difference is not shown. "
        "Look at the longest cycles, or get more of them."
    ),
    ("typical", 1): N_(
        "Not clear: the typical cycle is longer, but for the mean a difference is not shown. "
        "Look at the longest cycles, or get more of them."
    ),
}
_ALIKE = {
    "first": N_(
        "Cycles of the first are like those before them (autocorrelation {tie:.2f}): its {count} count as "
        "{effective} for the mean; the interval of the shift and the probability by ranks take no account of it "
        "and claim too much."
    ),
    "second": N_(
        "Cycles of the second are like those before them (autocorrelation {tie:.2f}): its {count} count as "
        "{effective} for the mean; the interval of the shift and the probability by ranks take no account of it "
        "and claim too much."
    ),
}
_LEFT_OUT = {
    "first": N_(
        "Of the first, {left_out} of {every} cycles were left out "
        "({held} held, {aborted} aborted, {partial} partial, {running} running)."
    ),
    "second": N_(
        "Of the second, {left_out} of {every} cycles were left out "
        "({held} held, {aborted} aborted, {partial} partial, {running} running)."
    ),
}


def in_words(study: Study) -> str:
    """The ruling of a study in one or two sentences, in English."""
    return sentence(study).told()


def cautions(study: Study) -> list[str]:
    """What a reader should know before relying on the ruling, in English."""
    return [one.told() for one in warnings(study)]


def sentence(study: Study) -> Sentence:
    """The ruling of a study, to be said."""
    ruling = study.ruling
    if ruling == TOO_FEW or study.means is None or study.shift_interval_s is None:
        return _too_few(study)
    difference, interval = study.means.difference, study.means.interval
    if ruling in _BY:
        low, high = sorted(map(abs, interval))
        share = 100 * abs(difference) / (study.first.mean_s or 1)
        return Sentence(_BY[ruling], {"size": abs(difference), "low": low, "high": high, "share": share})
    if ruling == NOT_SHOWN:
        return _not_shown(interval)
    return _unclear(study, interval, study.shift_interval_s)


def _too_few(study: Study) -> Sentence:
    counts = {"first": study.first.count, "second": study.second.count, "fewest": FEWEST}
    if min(study.first.count, study.second.count) >= FEWEST:
        text = N_(
            "Not enough cycles: of {first} and {second} steady ones each is so like the one before that they tell "
            "too little."
        )
    else:
        text = N_("Not enough cycles: {first} and {second} steady ones; at least {fewest} of each are needed.")
    return Sentence(text, counts)


def _not_shown(interval: Interval) -> Sentence:
    low, high = interval
    if low < 0 <= high:
        text = N_(
            "A difference is not shown. That is no proof of none: the second may be from {low:.2f} s faster to "
            "{high:.2f} s slower than the first (95 %)."
        )
    elif low < 0:
        text = N_(
            "A difference is not shown. That is no proof of none: the second may be from {low:.2f} s faster to "
            "{high:.2f} s faster than the first (95 %)."
        )
    else:
        text = N_(
            "A difference is not shown. That is no proof of none: the second may be from {low:.2f} s slower to "
            "{high:.2f} s slower than the first (95 %)."
        )
    return Sentence(text, {"low": abs(low), "high": abs(high)})


def _unclear(study: Study, means: Interval, shift: Interval) -> Sentence:
    assert study.ruling == UNCLEAR
    if side(means) and side(shift):
        return Sentence(
            N_("The mean and the typical cycle moved in opposite ways: look at the single cycles first.")
        )
    return Sentence(_UNCLEAR["mean", side(means)] if side(means) else _UNCLEAR["typical", side(shift)])


def warnings(study: Study) -> list[Sentence]:
    """What a reader should know before relying on the ruling, to be said."""
    found = [*_of_sample("first", study.first), *_of_sample("second", study.second)]
    first, second = (_parts_per_cycle(s) for s in (study.first, study.second))
    if first is not None and second is not None and abs(first - second) > 0.01:
        text = N_(
            "The first makes {first:.2f} parts a cycle, the second {second:.2f}: compare the times per part."
        )
        found.append(Sentence(text, {"first": first, "second": second}))
    return found


def _of_sample(name: str, sample: Sample) -> list[Sentence]:
    found = []
    if sample.autocorrelation is not None and sample.effective < sample.count:
        values = {"tie": sample.autocorrelation, "count": sample.count, "effective": sample.effective}
        found.append(Sentence(_ALIKE[name], values))
    every = sample.count + sample.left_out
    if sample.left_out and sample.left_out >= MANY_LEFT_OUT * every:
        counts = {
            "left_out": sample.left_out, "every": every, "held": sample.held, "aborted": sample.aborted,
            "partial": sample.partial, "running": sample.running,
        }  # fmt: skip
        found.append(Sentence(_LEFT_OUT[name], counts))
    return found


def _parts_per_cycle(sample: Sample) -> float | None:
    return sample.parts / sample.count if sample.parts else None
