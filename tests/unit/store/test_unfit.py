"""Readings that the journal cannot hold are refused as a whole, by name, and nothing is half-written."""

from __future__ import annotations

import pytest

from swarfline.signals import Reading
from swarfline.store import Batch, StoreError

from .content import content, journaled
from .made import readings, some_of_everything

UNFIT = [
    ({"source_us": 2**63}, "source_us=9223372036854775808"),
    ({"source_us": -(2**63) - 1}, "source_us=-9223372036854775809"),
    ({"received_us": 2**63}, "received_us=9223372036854775808"),
    ({"source_us": 1.5}, "source_us=1.5"),
    ({"quality": 256}, "quality=256"),
    ({"quality": -1}, "quality=-1"),
    ({"value": b"bytes"}, "value=b'bytes'"),
    ({"value": 10**5000}, "4300 digits"),
]
SIGNALS = ("state", "power")


@pytest.mark.parametrize("signal", SIGNALS)
@pytest.mark.parametrize(("change", "told"), UNFIT)
def test_it_is_refused_by_name(store, signal, change, told):
    writer = store.writer()
    writer.commit(some_of_everything())
    before = content(store)
    batch = some_of_everything(1)
    batch.readings[20] = Reading("S2", signal, 5, 5, 1)._replace(**change)
    with pytest.raises(StoreError, match="the journal cannot hold") as refused:
        writer.commit(batch)
    assert told in str(refused.value)
    assert content(store) == before


def test_what_comes_after_a_refused_batch_is_stored(store):
    writer = store.writer()
    with pytest.raises(StoreError):
        writer.commit(Batch(readings=[*readings(5), Reading("N1", "state", 2**63, 5, 1)]))
    writer.commit(Batch(readings=readings(5)))
    assert [(number, reading) for number, reading, _ in journaled(store)] == list(enumerate(readings(5)))


@pytest.mark.parametrize("at_us", [-(2**63), 2**63 - 1])
def test_the_outermost_times_are_kept(store, at_us):
    outermost = Reading("N1", "state", at_us, at_us, 1)
    store.writer().commit(Batch(readings=[outermost]))
    assert [reading for _, reading, _ in journaled(store)] == [outermost]
