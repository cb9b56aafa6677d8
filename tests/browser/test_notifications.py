"""The page of notifications in a real browser, narrow and wide, by light and by dark."""

from __future__ import annotations

from dataclasses import replace

import pytest
from serve.works import NOW

from swarfline.messages import REFUSED, Message

pytestmark = pytest.mark.browser

LONG = Message("shop", "raised-1", f"Irrigation works: warning: Tool {'x' * 80} past its limit", "text", NOW)


@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (1280, "dark")])
def test_nothing_to_complain_of_and_nothing_scrolls_sideways(service, watch, width, scheme):
    service.store.outbox.add([LONG, replace(LONG, key="raised-2")])
    one, *_ = service.store.outbox.due("shop", NOW, 1) or [None]
    if one is not None:
        service.store.outbox.begin(one, NOW, NOW)
        service.store.outbox.settle(one, REFUSED, NOW, f"hook.example answers 410 {'y' * 80}")
    watched = watch(viewport={"width": width, "height": 740}, color_scheme=scheme)
    watched.page.goto(service.url + "/notifications")
    assert watched.page.evaluate("() => document.documentElement.scrollWidth") <= width
    assert watched.page.locator(".ailing").all_inner_texts() == ["refused"]
    assert watched.complaints == []
