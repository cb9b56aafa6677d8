"""Forms of the pages: what is taken from them, and that they never lead away."""

from __future__ import annotations

import pytest

from swarfline.serve.entries import Undoing
from swarfline.serve.page.forms import local, said, whole
from swarfline.serve.problems import RefusedError


def test_a_form_is_checked_by_the_shape_of_the_api():
    assert said(Undoing, {"who": " Ana ", "note": "", "back": "/"}).who == "Ana"
    with pytest.raises(RefusedError) as refused:
        said(Undoing, {"who": "   "})
    assert refused.value.status == 422
    assert [e.parameter for e in refused.value.errors] == ["who"]


@pytest.mark.parametrize("text", ["", "1.5", "ten", "1e3"])
def test_a_number_that_is_none_is_refused(text):
    with pytest.raises(RefusedError):
        whole({"quantity": text}, "quantity")


@pytest.mark.parametrize(
    "address",
    [
        "https://elsewhere.example/",
        "//elsewhere.example/",
        "/\\elsewhere.example",
        "javascript:alert(1)",
        "machines",
        "",
        "/a\r\nset-cookie: x",
        "http://[",
    ],
)
def test_no_address_leads_away(address):
    assert local(address, "/here") == "/here"


def test_an_address_of_ours_is_kept():
    assert local("/machines/N1?day=2026-03-10", "/") == "/machines/N1?day=2026-03-10"
