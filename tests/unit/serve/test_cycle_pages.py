"""The pages of cycles, studies and run-offs: the same figures as the API's, from the cycles of compared.py."""

from __future__ import annotations

import html
import json
import re

import pytest

from swarfline.facts import ABORTED, STEPS, UNOBSERVED, Alarm, Condition, Cycle, StepPiece, ToolLife, ToolUse
from swarfline.plant import load
from swarfline.sentence import Sentence
from swarfline.serve import create_app
from swarfline.serve.page import cycle_words, words
from swarfline.serve.tongue import speaking
from swarfline.store import Batch, Store

from .client import Client
from .compared import AT, CHANGE, TWO, cycle, facts
from .works import HOUR, MINUTE, NOW, SECOND, START

ODD = START + 5 * HOUR + 40 * MINUTE
"""A cycle with everything: two tools, a hold, a time out of sight."""
ODD_AT = "2026-03-10T11:40:00+01:00"
PROGRAM = {"program": "O1201", "part": "PH-12"}
PLANNED = '[[parts.planned_steps]]\ntool = "7"\ncutting_s = 24\nother_s = 4\n'


def odd() -> list:
    steps = {"cutting": 20, "tool_change": 5, "positioning": 0, "other": 25, "held": 30}
    return [
        Cycle(
            "N1", ODD, ODD + 80 * SECOND, "complete", "O1201", "PH-12", "L7", 1,
            tuple(steps[s] * SECOND for s in STEPS), 1_800_000.0,
            (
                ToolUse("7", 1, 50 * SECOND, 15 * SECOND, 41.4, 77.7),
                ToolUse("9", 2, 10 * SECOND, 5 * SECOND),
            ),
            (
                StepPiece(0, "tool_change", "7"), StepPiece(5 * SECOND, "cutting", "7"),
                StepPiece(20 * SECOND, "held", "7"), StepPiece(50 * SECOND, "other", ""),
                StepPiece(70 * SECOND, "cutting", "9"), StepPiece(75 * SECOND, "other", "9"),
            ),
            unobserved_us=20 * SECOND,
        ),
        Condition("N1", ODD + 50 * SECOND, ODD + 70 * SECOND, UNOBSERVED),
        Condition("N1", ODD + 20 * SECOND, ODD + 50 * SECOND, "held", "A9", "<Coolant>"),
        Alarm("N1", ODD + 20 * SECOND, ODD + 50 * SECOND, "A9", "<Coolant>"),
        ToolLife("N1", "1", START, ODD + 60 * SECOND, "9", "1", "Drill", "count", 9.0, reason="reset"),
    ]  # fmt: skip


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    text = TWO.replace("[[cells]]", PLANNED + "\n[[cells]]", 1)
    (folder / "plant.toml").write_text(text, encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    store.writer().commit(Batch(facts=[*facts(), *odd()], seen_us=NOW))
    yield Client(create_app(load(folder / "plant.toml"), store, clock_us=lambda: NOW))
    store.close()


@pytest.fixture(scope="module")
def page(client):
    def ask(path, status=200, **params):
        answer = client.get(path, params=params or None, headers={"accept": "text/html"})
        assert answer.status_code == status, answer.text
        return answer.text

    return ask


@pytest.fixture(scope="module")
def item(client):
    def ask(path, **params):
        answer = client.get(f"/api/v1/{path}", params=params)
        assert answer.status_code == 200, answer.text
        (row,) = answer.json()["items"]
        return row

    return ask


def plain(text: str) -> str:
    """What is read on a page, without its marks, spaces as one."""
    body = re.sub(r"<(svg|script|head)\b.*?</\1>", "", text, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def week(**more):
    return {"from": "2026-03-03T12:00:00+01:00", "to": "2026-03-10T12:00:00+01:00", **more}


def shown(text: str, *told: str) -> None:
    read = plain(text)
    assert [t for t in told if " ".join(t.split()) not in read] == []


def test_the_entry_page_lists_every_program_with_the_figures_of_the_api(page, client):
    text = page("/cycles")
    rows = client.get("/api/v1/cycle-trends", params=week()).json()["items"]
    assert len(rows) == 3
    for row in rows:
        shown(
            text,
            cycle_words.made(row["program"], row["part"]),
            f"{words.number(row['count'])} {words.number(row['left_out'])} left out",
            words.seconds(row["median_s"]),
            words.seconds(row["planned_cycle_time_s"]),
        )
    shown(text, "Without a cycle in this span: South one", "shorter by 2.0 s", "as usual 0.0 s")
    assert text.count("/machines/N1/cycles?") == 4


def test_a_machines_page_shows_the_figures_of_the_api(page, item):
    text = page("/machines/N1/cycles", **PROGRAM)
    row = item("cycle-trends", machine="N1", program="O1201", **week())
    for name in ("median_s", "mean_s", "minimum_s", "p90_s", "planned_cycle_time_s"):
        shown(text, words.seconds(row[name]))
    shown(text, f"{row['count']} {row['left_out']} left out")


def test_limits_are_those_of_the_newest_level_and_each_level_counts_by_its_own(page, item):
    text = page("/machines/N1/cycles", **PROGRAM)
    step = item("level-steps", machine="N1", program="O1201", **week())
    newest = item("cycle-trends", machine="N1", program="O1201", **{**week(), "from": step["at"]})
    before = item("cycle-trends", machine="N1", program="O1201", **{**week(), "to": step["at"]})
    limits = f"{words.seconds(newest['lcl_s'])} its upper limit of single cycles {words.seconds(newest['ucl_s'])}"
    beyond = before["beyond_count"] + newest["beyond_count"]
    shown(text, limits, f"Beyond the limits {beyond} each of the 2 levels by its own limits")
    drawn = re.search(r'<path class="k-mean" d="([^"]+)"', text)[1]
    assert drawn.count("M") == 2
    whole = page("/machines/N2/cycles")
    row = item("cycle-trends", machine="N2", **week())
    shown(whole, f"upper limit of single cycles {words.seconds(row['ucl_s'])}")
    shown(whole, f"Beyond the limits {row['beyond_count']} Observed")


def test_steps_in_level_tell_what_accounts_for_them(page, item):
    text = page("/machines/N1/cycles", **PROGRAM)
    row = item("level-steps", machine="N1", program="O1201", **week())
    size = cycle_words.change(row["size_s"])
    shown(
        text,
        f"{size} from Tue 10 Mar 2026, 09:06:40",
        f"Level before {words.seconds(row['before_s'], 2)} {row['cycles_before']} cycles",
        f"interval {cycle_words.between(row['low_s'], row['high_s'])}",
        f"cutting {cycle_words.change(row['steps']['cutting_s'])}",
        f"T7 {cycle_words.change(row['tools'][0]['difference_s'])}",
    )
    assert size.startswith("−") and f'"text": {json.dumps(cycle_words.change(row["size_s"], 1))}' in text


def test_a_step_in_level_leads_to_the_study_of_both_levels(page, item):
    text = page("/machines/N1/cycles", **PROGRAM)
    row = item("level-steps", machine="N1", program="O1201", **week())
    (address,) = re.findall(r'href="(/studies[^"]*kind=moment[^"]*)"', text)
    study = page(html.unescape(address))
    # the last cycle begins at the end of the span, so it does not lie in it
    shown(study, f"Steady cycles {row['cycles_before']} count as", f"{row['cycles_after'] - 1} count as")
    assert 'href="/run-offs?machine=N1&amp;program=O1201&amp;part=PH-12"' in text


def test_planned_against_measured(page, client):
    text = page("/machines/N1/cycles", **PROGRAM)
    rows = client.get("/api/v1/planned-cycles", params=week(machine="N1")).json()["items"]
    row = next(r for r in rows if r["part"] == "PH-12")
    (tool,) = row["tools"]
    assert tool["planned_s"] == 24
    shown(text, f"T7 24.0 s {words.seconds(tool['measured_s'])} {cycle_words.change(tool['difference_s'], 1)}")
    shown(text, *row["notes"])


def test_the_bars_of_the_histogram_hold_every_steady_cycle(page, item):
    text = page("/machines/N1/cycles", **PROGRAM)
    count = item("cycle-trends", machine="N1", program="O1201", **week())["count"]
    table = re.search(r"Cycles by cycle time</caption>(.*?)</table>", text, re.DOTALL)[1]
    inside = sum(int(n) for n in re.findall(r'<td class="n">(\d+)</td></tr>', table))
    outside = re.search(r"Outside of the picture: (\d+) shorter, (\d+) longer", text)
    assert inside + sum(int(n) for n in (outside.groups() if outside else ())) == count


@pytest.mark.parametrize(
    ("outcome", "number"),
    [("all", 181), ("held", 2), ("aborted", 1), ("partial", 0), ("steady", 178), ("unobserved", 1)],
)
def test_the_list_is_filtered_by_outcome(page, outcome, number):
    text = page("/machines/N1/cycles", outcome=outcome, **PROGRAM)
    shown(
        text,
        f"of {number} cycles" if number > 1 else "1 to 1 of 1 cycle" if number else "No such cycle in this span.",
    )


def test_the_list_is_ordered_and_has_pages(page):
    slowest = page("/machines/N1/cycles", order="slowest", **PROGRAM)
    lengths = [float(n) for n in re.findall(r'data-label="Length">([\d.]+) s', slowest)]
    median = cycle_words.change(300 - 39.0, 1)
    assert re.search(rf'data-label="Length">300.0 s</td><td[^>]*>{re.escape(median)}<', slowest)
    assert len(lengths) == 25 and lengths == sorted(lengths, reverse=True) and lengths[0] == 300
    assert "page 1 of 8" in plain(slowest)
    following = html.unescape(re.search(r'rel="next" href="(/machines/N1/cycles[^"]*page=2[^"]*)"', slowest)[1])
    assert "order=slowest" in following and "program=O1201" in following
    second = page(following.partition("#")[0])
    assert "26 to 50 of 181 cycles" in plain(second)
    assert max(float(n) for n in re.findall(r'data-label="Length">([\d.]+) s', second)) <= lengths[-1]
    assert "page 8 of 8" in plain(page("/machines/N1/cycles", page="99", **PROGRAM))


def test_the_other_program_is_a_click_away(page):
    text = page("/machines/N1/cycles")
    shown(text, "Steady cycles 178")
    other = html.unescape(re.search(r'href="(/machines/N1/cycles\?[^"]*program=O1202[^"]*)"', text)[1])
    shown(page(other), "X, program O1202", "Median 30.0 s", "Steady cycles 9")


def test_a_machine_without_cycles_says_so(page):
    shown(page("/machines/S1/cycles"), "No cycle is on record in this span.")


@pytest.mark.parametrize(
    ("path", "params", "named"),
    [
        ("/machines/N1/cycles", {"outcome": "lost"}, "outcome"),
        ("/machines/N1/cycles", {"order": "size"}, "order"),
        ("/machines/N1/cycles", {"page": "0"}, "page"),
        ("/machines/N1/cycles", {"from": "2025-03-03", "to": "2025-09-03"}, "from"),
        ("/machines/N1/cycles/at", {}, "start"),
        ("/machines/N1/cycles/at", {"start": "yesterday"}, "start"),
        ("/studies", {"kind": "guess"}, "kind"),
        ("/studies", {"machine": "N1", "at": "2026-03-11T09:00"}, "at"),
        ("/studies", {"machine": "N1", "first_from": AT}, "first_from"),
        ("/run-offs", {"machine": "N1", "n": "1"}, "n"),
        ("/run-offs", {"machine": "N1", "limit_s": "-4"}, "limit_s"),
        ("/run-offs", {"machine": "N1", "target": "nan"}, "target"),
    ],
)
def test_what_means_nothing_is_refused(client, path, params, named):
    answer = client.get(path, params=params, headers={"accept": "application/json"})
    assert answer.status_code == 422
    assert [e["parameter"] for e in answer.json()["errors"]] == [named]


@pytest.mark.parametrize(
    ("path", "params"),
    [
        ("/machines/N9/cycles", {}),
        ("/machines/N1/cycles/at", {"start": "2026-03-09T09:00:00+01:00"}),
        ("/studies", {"machine": "N9", "at": AT}),
        ("/run-offs", {"machine": "N9"}),
    ],
)
def test_what_is_not_there_is_not_found(page, path, params):
    page(path, 404, **params)


def test_a_single_cycle_says_where_its_time_went(page):
    """Usual are the cycles of test facts before it: most around 40 s, many around 38 s; median 39 s."""
    text = page("/machines/N1/cycles/at", start=ODD_AT)
    shown(
        text,
        "Length 80.0 s Usual 39.0 s +41.0 s",
        "complete, held for 30 s, 20 s unobserved",
        "Energy 0.500 kWh usual –",
        "cutting 20.0 s 25.0 % 24.0 s −4.0 s",
        "tool change 5.0 s 6.2 % 5.0 s 0.0 s",
        "other 5.0 s 6.2 % 10.0 s −5.0 s",
        "held 30.0 s 37.5 % 0.0 s +30.0 s",
        "unobserved 20.0 s 25.0 % 0.0 s +20.0 s",
        "T7 50.0 s 15.0 s 29.0 s +21.0 s 41 / 78 %",
        "T9 10.0 s 5.0 s 0.0 s +10.0 s –",
        "lot L7",
    )
    assert "positioning" not in plain(text)  # no signal tells it here


def test_the_strip_tiles_the_cycle(page):
    text = page("/machines/N1/cycles/at", start=ODD_AT)
    strip = re.search(r'<svg class="band day".*?</svg>', text, re.DOTALL)[0]
    boxes = [tuple(map(float, found)) for found in re.findall(r"M([\d.]+) (\d+)H([\d.]+)V(\d+)", strip)]
    assert (
        len({(top, bottom) for _, top, _, bottom in boxes}) == 4
    )  # cutting and held, a change, other, unobserved
    assert [(a, b) for a, _, b, _ in sorted(boxes)] == [
        (0, 62.5),
        (62.5, 250),
        (250, 625),
        (625, 875),
        (875, 937.5),
        (937.5, 1000),
    ]
    assert 'fill="url(#hatch-held)"' in strip and 'id="hatch-held"' in text


def test_what_surrounds_a_cycle_is_told_and_escaped(page):
    text = page("/machines/N1/cycles/at", start=ODD_AT)
    shown(text, "held A9 <Coolant> yes", "alarm A9 <Coolant> yes", "tool life of T9 Drill ended: life set back")
    assert "<Coolant>" not in text


def test_a_time_within_a_cycle_finds_it_and_its_neighbours(page):
    text = page("/machines/N1/cycles/at", start="2026-03-10T07:00:30+01:00")
    shown(text, "Tue 10 Mar 2026, 07:00:00")
    before = html.unescape(re.search(r'rel="prev" href="([^"]+)"', text)[1])
    after = html.unescape(re.search(r'rel="next" href="([^"]+)"', text)[1])
    shown(page(before), "Tue 10 Mar 2026, 06:58:20")
    shown(page(after), "Tue 10 Mar 2026, 07:01:40")
    first = page("/machines/N1/cycles/at", start="2026-03-10T06:00:00+01:00")
    assert 'rel="prev"' not in first
    shown(first, "what is usual is not known", "Usual – –")


def test_a_running_cycle_is_compared_with_nothing(tmp_path):
    (tmp_path / "plant.toml").write_text(TWO, encoding="utf-8")
    store = Store.open(f"sqlite:///{tmp_path / 'works.db'}")
    running = cycle("N1", NOW - 9 * SECOND, 9, "O1201", outcome="running", tools=(), open=True)
    store.writer().commit(Batch(facts=[*facts(), running], seen_us=NOW))
    client = Client(create_app(load(tmp_path / "plant.toml"), store, clock_us=lambda: NOW))
    text = client.get("/machines/N1/cycles/at", params={"start": "2026-03-10T11:59:55+01:00"}).text
    shown(text, "Outcome running", "T7 not used yet 0.0 s – 29.0 s –", "Seen until")
    store.close()


@pytest.mark.parametrize(
    "params",
    [
        {"kind": "moment", "machine": "N1", "at": "2026-03-10T09:00", "program": "O1201"},
        {
            "kind": "spans",
            "machine": "N1",
            "first_from": "2026-03-10T06:00",
            "first_to": "2026-03-10T07:00",
            "from": "2026-03-10T09:00",
            "program": "O1201",
        },
        {"kind": "machines", "machine": "N1", "with_machine": "N2", "part": "PH-12"},
        {"kind": "programs", "machine": "N1", "program": "O1201", "with_program": "O1202"},
    ],
)
def test_a_study_shows_the_figures_of_the_api(page, item, params):
    text = page("/studies", **params)
    asked = {
        k: f"{v}:00+01:00" if re.fullmatch(r"[-\d]{10}T[:\d]{5}", v) else v
        for k, v in params.items()
        if k != "kind"
    }
    row = item("studies", **{**week(), **asked})
    shown(
        text,
        row["words"],
        f"{cycle_words.change(row['mean_difference_s'])} 95 % interval "
        f"{cycle_words.between(row['mean_low_s'], row['mean_high_s'])}",
        f"{cycle_words.change(row['shift_s'])} 95 % interval "
        f"{cycle_words.between(row['shift_low_s'], row['shift_high_s'])}",
        f"Steady cycles {row['first']['count']} count as",
        words.percent(row["second_faster_pct"] / 100),
        *(words.seconds(row[side]["mean_s"], 2) for side in ("first", "second")),
        *row["cautions"],
    )
    for piece in row["pieces"]:
        shown(
            text,
            f"{cycle_words.piece(piece['kind'], piece['name'])} {words.seconds(piece['first_mean_s'], 2)} "
            f"{words.seconds(piece['second_mean_s'], 2)} {cycle_words.change(piece['difference_s'])}",
        )
    assert f'data-ruling="{row["ruling"]}"' in text


def test_a_study_without_enough_said_is_a_form(page):
    for params in ({}, {"machine": "N1"}, {"machine": "N1", "kind": "machines"}):
        text = page("/studies", **params)
        assert "<form" in text and 'class="sheet"' not in text
    assert 'value="N1" selected' in page("/studies", machine="N1")


def test_what_belongs_to_another_kind_of_study_is_passed_over(page, item):
    params = {"machine": "N1", "with_machine": "N2", "part": "PH-12"}
    row = item("studies", **params, **week())
    text = page("/studies", kind="machines", at=AT, with_program="O1202", first_from=AT, **params)
    shown(text, row["words"])


@pytest.mark.parametrize("kind", ["moment", "spans"])
def test_nothing_parts_the_samples_before_somebody_says_what(page, kind):
    text = page("/studies", machine="N1", kind=kind)
    shown(text, "Nothing is compared yet")
    empty = {"moment": ("at",), "spans": ("first_from", "first_to")}[kind]
    assert all(f'name="{name}" value="" required' in text for name in empty)


def test_samples_one_after_the_other_are_before_and_after(page):
    shown(page("/studies", machine="N1", at=AT, program="O1201"), "Before (first) After (second) Machine, program")
    two = page("/studies", kind="machines", machine="N1", with_machine="N2", part="PH-12")
    shown(two, "First Second Machine, program")
    assert "Before (first)" not in two


def test_a_mean_beyond_the_limit_is_said_before_its_index(page, item):
    text = page("/run-offs", machine="N1", part="PH-12", limit_s="20")
    index = item("run-offs", machine="N1", part="PH-12", limit_s=20)["index"]
    shown(text, f"below 0: the mean lies beyond the limit {words.number(index, 2)}; 95 % interval")
    assert "lies beyond the limit" not in plain(page("/run-offs", machine="N1", part="PH-12", limit_s="60"))


def test_parts_of_cycles_that_are_not_judged_are_told_apart(page, item):
    """A run over the held cycle of compared.py: it made its part, but is not among the steady ones."""
    text = page("/run-offs", machine="N1", part="PH-12", n="1000")
    row = item("run-offs", machine="N1", part="PH-12", n=1000)
    beside = row["parts"] - row["count"]
    assert beside > 0
    shown(
        text, f"Parts made {row['parts']} of them {row['count']} by the steady cycles, {beside} by complete ones"
    )


def test_a_printed_sheet_says_on_each_page_what_it_is_about(page, item):
    text = page("/run-offs", machine="N1", part="PH-12", n="40")
    row = item("run-offs", machine="N1", part="PH-12", n=40)
    foot = plain(re.search(r'<p class="print-only sheet-foot">.*?</p>', text, re.DOTALL)[0])
    assert "PH-12, program O1201" in foot and "· N1 ·" in foot and foot.endswith(row["words"])
    singles = re.search(r'<section class="print-only singles">.*?</section>', text, re.DOTALL)[0]
    assert singles.count("<li>") == row["count"] == 40
    study = page("/studies", machine="N1", at=AT, program="O1201")
    foot = plain(re.search(r'<p class="print-only sheet-foot">.*?</p>', study, re.DOTALL)[0])
    assert "PH-12" in foot and "The second is faster" in foot


def test_a_study_of_nothing_says_so(page):
    shown(page("/studies", machine="S1", at=AT), "There is no such cycle in either span.")


def test_a_run_off_shows_the_figures_of_the_api(page, item):
    params = {"machine": "N1", "part": "PH-12", "n": "40", "to": "2026-03-10T11:30", "limit_s": "44,5"}
    text = page("/run-offs", **params)
    row = item("run-offs", **{**params, "to": "2026-03-10T11:30:00+01:00", "limit_s": 44.5})
    shown(
        text,
        row["words"],
        *row["cautions"],
        "40 of 40 asked for",
        f"{words.number(row['index'], 2)} 95 % interval {words.number(row['index_low'], 2)} to",
        f"Longest allowed 44.50 s Mean {words.seconds(row['mean_s'], 2)}",
        f"held {row['held']}, aborted {row['aborted']}",
        words.percent(row["cutting_pct"] / 100),
        f"{words.number(row['parts_per_hour'], 1)} an hour",
    )
    assert len(re.findall("h0", re.search(r'k-dots" d="([^"]+)"', text)[1])) == 40
    assert f'data-ruling="{row["ruling"]}"' in text


def test_a_run_off_without_a_plan_or_a_cycle_is_unknown_and_not_zero(page):
    text = page("/run-offs", machine="N1", program="O1202")
    shown(text, "There is no planned cycle time", "Longest allowed – ", "without drift –")
    shown(page("/run-offs", machine="S1"), "There is no such cycle in the year before.")
    assert 'class="sheet"' not in page("/run-offs")


def test_the_usual_target_is_the_exact_one(page, item):
    row = item("run-offs", machine="N2")
    shown(page("/run-offs", machine="N2", target="1.33"), row["words"])
    assert row["target"] == pytest.approx(4 / 3)


def test_the_pages_stand_in_the_navigation(page):
    text = page("/studies")
    assert all(f'href="{path}"' in text for path in ("/cycles", "/studies", "/run-offs"))
    assert 'href="/studies" aria-current="page"' in text


def test_names_from_machines_are_never_markup(tmp_path):
    (tmp_path / "plant.toml").write_text(TWO, encoding="utf-8")
    store = Store.open(f"sqlite:///{tmp_path / 'works.db'}")
    bad = "<img src=x>'\"&"
    found = [
        cycle("N1", CHANGE + n * 100 * SECOND, 40 + n % 3, bad, part=bad, lot=bad, tools=(ToolUse(bad, 1, 9, 9),))
        for n in range(40)
    ]
    found.append(cycle("N1", NOW - 90 * SECOND, 9, bad, part=bad, outcome=ABORTED))
    store.writer().commit(Batch(facts=found, seen_us=NOW))
    client = Client(create_app(load(tmp_path / "plant.toml"), store, clock_us=lambda: NOW))
    for path in (
        "/cycles", "/machines/N1/cycles", "/machines/N1/cycles/at?start=2026-03-10T09:00:01%2B01:00",
        "/studies?machine=N1&at=2026-03-10T09:30", "/run-offs?machine=N1",
    ):  # fmt: skip
        answer = client.get(path)
        assert answer.status_code == 200 and "<img" not in answer.text, path
        assert "&lt;img" in answer.text
    store.close()


def test_the_ruling_is_said_in_the_readers_way_of_numbers(page):
    read = plain(page("/studies", machine="N1", at=AT, program="O1201", lang="de"))
    assert re.search(r"2,0\d s .*\d,\d\d .* \d,\d\d s.*, \d,\d %", read)
    with speaking("de"):
        assert words.say(Sentence("{size:.2f} s, {count}", {"size": -1.5, "count": 3})) == "−1,50 s, 3"
