"""The timeline of a machine's page: every window can be drawn, is led to by links, and says what it shows."""

from __future__ import annotations

import html
import re
from urllib.parse import parse_qs, urlsplit

import pytest

from swarfline.serve.times import parse

from .works import HOUR, MINUTE


def shown(client, address="/machines/N1"):
    answer = client.get(address, headers={"accept": "text/html"})
    assert answer.status_code == 200, answer.text
    return answer.text


def part(client, start, end, machine="N1"):
    return shown(
        client, f"/machines/{machine}/timeline?from=2026-03-10T{start}%2B01:00&to=2026-03-10T{end}%2B01:00"
    )


def windows(text):
    """Window by key of the links beside the timeline."""
    found = re.findall(r'<a href="([^"]+)" data-zoom="(\w+)"', text)
    asked = {key: parse_qs(urlsplit(html.unescape(url)).query) for url, key in found}
    return {key: tuple(parse(q[name][0]) for name in ("from", "to")) for key, q in asked.items()}


def rows(text):
    table = re.search(r'<details class="tl-list">.*?</table>', text, re.DOTALL)[0]
    return [
        re.sub(r"\s+", " ", re.sub("<[^>]*>", " ", row)).strip()
        for row in re.findall(r"<tr>(.*?)</tr>", table, re.DOTALL)
    ][1:]


def test_the_day_in_stretches(client):
    """Cycles of 170 s and waits of 10 s stand together at the zoom of a day; the fault stands alone."""
    told = rows(shown(client))
    assert told[0] == "00:00 06:00 6 h 00 min Condition unobserved"
    assert "06:00 10:00 4 h 00 min Condition mostly producing" in told
    assert "10:00 10:30 30 min Condition fault: Door switch" in told
    assert "10:00 10:30 30 min Alarm A1 Door switch" in told
    assert [r for r in told if " Part " in r] == ["06:00 11:59 5 h 59 min Part PH-12 · O1201"]


def test_closer_in_every_piece_stands_alone(client):
    told = rows(part(client, "09:57:00", "10:03:00"))
    assert "09:57:00 09:59:50 2 min Condition producing" in told
    assert "09:59:50 10:00:00 10 s Condition waiting" in told
    text = part(client, "09:57:00", "10:03:00")
    assert re.search(r"/machines/N1/cycles/at\?start=2026-03-10T09%3A57%3A00%2B01%3A00", text)
    assert 'fill="url(#hatch-fault)"' in text and 'id="hatch-fault"' in text


def test_links_lead_back_on_closer_and_wider(client):
    found = windows(part(client, "06:00:00", "10:00:00"))
    start, end = parse("2026-03-10T06:00:00+01:00"), parse("2026-03-10T10:00:00+01:00")
    assert found == {
        "back": (start - 2 * HOUR, end - 2 * HOUR),
        "on": (start + 2 * HOUR, end + 2 * HOUR),
        "closer": (start + HOUR, end - HOUR),
        "wider": (start - 2 * HOUR, end + 2 * HOUR),
        "hour": (start + 90 * MINUTE, end - 90 * MINUTE),
    }


def test_an_hour_and_what_is_closer_are_about_now_where_now_is_seen(client):
    found = windows(shown(client))
    assert found["hour"] == tuple(parse(f"2026-03-10T{t}:30:00+01:00") for t in ("11", "12"))
    assert "on" not in found


def test_zooming_in_and_out_never_ends_in_an_error(client):
    for key in ("closer", "wider", "back"):
        address = "/machines/N1"
        for _ in range(16):
            told = re.findall(r'<a href="([^"]+)" data-zoom="(\w+)"', shown(client, address))
            links = {k: html.unescape(u) for u, k in told}
            if key not in links:
                break
            address = links[key].split("#")[0].replace("/machines/N1?", "/machines/N1/timeline?")


def test_the_page_of_a_window_is_about_that_window(client):
    text = shown(client, "/machines/N1?from=2026-03-10T09:00:00%2B01:00&to=2026-03-10T11:00:00%2B01:00")
    assert "Tue 10 Mar 2026, 09:00:00 – Tue 10 Mar 2026, 11:00:00" in text
    assert "At work now" not in text and "At work now" in shown(client)


def test_a_window_into_what_lies_ahead_is_drawn_whole(client):
    """The figures are up to the present, the axis goes on."""
    text = shown(client, "/machines/N1?from=2026-03-10T10:00:00%2B01:00&to=2026-03-10T16:00:00%2B01:00")
    assert "10:00:00 – Tue 10 Mar 2026, 16:00:00" in text and 'class="now" x1="33.333%"' in text
    assert "10:30 12:00 1 h 30 min Condition mostly producing" in rows(text)


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("", "from"),
        ("?from=2026-03-10T09:00:00Z", "to"),
        ("?from=soon&to=2026-03-10T09:00:00Z", "from"),
        ("?from=2026-03-10T09:00:00Z&to=2026-03-10T09:00:05Z", "10 s"),
        ("?from=2026-01-01T09:00:00Z&to=2026-03-10T09:00:00Z", "32 days"),
        ("?from=2027-01-01T09:00:00Z&to=2027-01-02T09:00:00Z", "present"),
    ],
)
def test_windows_that_cannot_be_drawn_are_refused(client, query, said):
    answer = client.get(f"/machines/N1/timeline{query}")
    assert answer.status_code == 422 and said in answer.text


def test_the_part_is_the_same_as_in_the_page(client):
    whole = shown(client, "/machines/N1?from=2026-03-10T09:00:00%2B01:00&to=2026-03-10T11:00:00%2B01:00")
    alone = part(client, "09:00:00", "11:00:00")
    taken = re.search(r'<section id="timeline".*?</section>', whole, re.DOTALL)[0]
    told = re.search(r'<section id="timeline".*?</section>', alone, re.DOTALL)[0]
    link = re.compile(r"\s*<li><a href=\"[^\"]+\">figures of this window</a></li>")
    assert link.search(told)
    assert link.sub("", told).split() == taken.split()


def test_a_machine_never_reached_has_a_timeline_of_nothing(client):
    assert rows(part(client, "01:00:00", "02:00:00")) == ["01:00:00 02:00:00 1 h 00 min Condition unobserved"]


def test_the_running_cycle_says_how_long_it_has_to_go(tmp_path):
    from swarfline.store import Batch

    from .client import Client
    from .works import NOW, SECOND, now_of, works

    app, store = works(tmp_path)
    client = Client(app)
    assert "no cycle runs" in shown(client)
    running = {"start_us": NOW - 60 * SECOND, "program": "O1201", "part": "PH-12", "lot": "L1"}

    def left(**more):
        store.writer().commit(
            Batch(now={"N1": now_of("N1", "producing", NOW - 60 * SECOND, cycle={**running, **more})})
        )
        return re.search(r'data-cell="N1.left">([^<]*)<', shown(client))[1]

    assert left() == "about 1:50 left"
    assert left(start_us=NOW - 200 * SECOND) == "0:30 longer than usual"
    assert left(program="O9999") == "–"
    store.writer().commit(Batch(now={"N1": now_of("N1", "producing", NOW, linked=False, cycle=running)}))
    assert re.search(r'data-cell="N1.left">([^<]*)<', shown(client))[1] == "–"
    store.close()
