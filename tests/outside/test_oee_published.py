"""OEE against ISO 22400-2 and published worked examples, through conditions and counts."""

from fractions import Fraction

import pytest

from swarfline.facts import SCRAP, TOTAL, Condition, Count
from swarfline.measure.elements import TimeElements, time_elements
from swarfline.measure.energy import EnergySums
from swarfline.measure.kpis import KpiSums, events, kpis
from swarfline.measure.losses import StoppedTimes, losses
from swarfline.measure.oee import OeeSums, oee
from swarfline.measure.production import PartPlan, Production, production
from swarfline.measure.stops import stops

MINUTE = 60_000_000
SHORT = 5 * MINUTE


def shift(pieces):
    """(conditions, span) of one machine from (minutes, condition) pairs, one after another."""
    facts, at = [], 0
    for minutes, condition in pieces:
        end = at + round(minutes * MINUTE)
        facts.append(Condition("N1", at, end, condition))
        at = end
    return facts, (0, at)


def elements(pieces) -> TimeElements:
    facts, span = shift(pieces)
    return time_elements(facts, [span], span)


def made(produced, scrap, item_min) -> Production:
    plan = PartPlan("PH-12", round(item_min * MINUTE))
    counts = [Count("N1", 0, TOTAL, produced, "PH-12"), Count("N1", 0, SCRAP, scrap, "PH-12")]
    return production(counts, [], {"PH-12": plan}, (0, 1))


def figures(pieces, produced, scrap, item_min):
    found = oee(OeeSums.of(elements(pieces), made(produced, scrap, item_min)))
    return [found[n].value for n in ("availability", "effectiveness", "quality_ratio", "oee")]


I_1 = [(45, "setup"), (315, "producing"), (50, "fault"), (40, "waiting")]


def test_i_1_iso_22400_formulas():
    """ISO 22400-2 formulas as in OPC 40501-1 annex C.2.4; constructed input, recomputed independently."""
    found = elements(I_1)
    assert found.planned_busy_us == 450 * MINUTE
    assert found.production_us + found.setup_us + found.delay_us == 410 * MINUTE, "AUBT"
    assert found.production_us + found.setup_us == 360 * MINUTE, "AUPT"
    assert figures(I_1, 250, 10, 1.2) == pytest.approx([0.7, 0.952380952380952, 0.96, 0.64], rel=1e-12)


def test_i_1_losses_leave_no_remainder():
    """Our split of I-1; the expected minutes follow by hand from its inputs."""
    facts, span = shift(I_1)
    sums = OeeSums.of(elements(I_1), made(250, 10, 1.2))
    rows = losses(sums, StoppedTimes(stops(facts, [span], span, SHORT)).within([span])).rows()
    minutes = {(r.name, r.length): r.time_us / MINUTE for r in rows if r.time_us}
    assert minutes == {
        ("setup", "long"): 45,
        ("fault", "long"): 50,
        ("waiting", "long"): 40,
        ("good_parts", ""): 288,
        ("scrap_parts", ""): 12,
        ("slow_running", ""): 15,
    }
    assert sum(minutes.values()) == 450


def test_i_2_effectiveness_above_one_is_not_clipped():
    """ISO 22400-2 by the same sources; constructed input."""
    pieces = [(300, "producing"), (150, "waiting")]
    expected = [0.666666666666667, 1.04, 0.980769230769231, 0.68]
    assert figures(pieces, 260, 5, 1.2) == pytest.approx(expected, rel=1e-12)


def test_i_3_periods_are_pooled_never_averaged():
    """ISO 22400-2 pooled by Σ(PRI·GQ)/ΣPBT; constructed input, wrong answers 0.455 and 0.490286."""
    first = OeeSums.of(elements([(315, "producing"), (135, "fault")]), made(250, 10, 1.2))
    second = OeeSums.of(elements([(120, "producing"), (180, "setup")]), made(100, 10, 0.9))
    assert [oee(s)["oee"].exact for s in (first, second)] == [Fraction(64, 100), Fraction(27, 100)]
    pooled = oee(first + second)
    assert pooled["oee"].exact == Fraction(492, 1000)
    assert pooled["availability"].exact == Fraction(58, 100)
    assert pooled["effectiveness"].value == pytest.approx(0.896551724137931, rel=1e-12)
    assert pooled["quality_ratio"].value == pytest.approx(0.946153846153846, rel=1e-12)


I_5 = [
    (30, "setup"),
    (150, "producing"),
    (20, "waiting"),
    (40, "out_of_service"),
    (150, "producing"),
    (60, "waiting"),
]


def test_i_5_states_become_elements_as_in_opc_40501():
    """OPC 40501-1 annex C.2.3 on a constructed timeline: AUST 30, APT 300, ADOT 80, ADET 40 min."""
    found = elements(I_5)
    times = (found.setup_us, found.production_us, found.down_us, found.delay_us)
    assert [us / MINUTE for us in times] == [30, 300, 80, 40]


def kpi_values(pieces, made_here, energy=None):
    facts, span = shift(pieces)
    begun = events(stops(facts, [span], span, SHORT), span)
    sums = KpiSums.of(
        time_elements(facts, [span], span),
        made_here,
        begun,
        energy or EnergySums(),
    )
    return {name: f.value for name, f in kpis(sums).items()}


def test_i_1_the_other_kpis():
    """ISO 22400-2 formulas (open ontology built on its draft, and OPC 40501-1 C.2.4); constructed input.

    The input has 6 scrap parts for the scrap ratio and 10 parts that are not good for the quality ratio (rework is
    neither); we count what is not good as scrap, so the scrap ratio is checked on its own input.
    """
    energy = EnergySums({"producing": 87.5 * 3.6e6}, 1, 1, 240, 250)
    found = kpi_values(I_1, made(250, 10, 1.2), energy)
    expected = {
        "net_equipment_effectiveness": 0.7314285714285713,
        "utilization_efficiency": 0.7682926829268293,
        "allocation_efficiency": 0.9111111111111111,
        "technical_efficiency": 0.863013698630137,
        "setup_ratio": 0.125,
        "energy_per_part": 0.35,
        "energy_per_good_part": 0.3645833333333333,
    }
    assert {name: found[name] for name in expected} == pytest.approx(expected, rel=1e-12)
    assert kpi_values(I_1, made(250, 6, 1.2))["scrap_ratio"] == 0.024


def test_i_4_mean_times_between_failures_and_to_restore():
    """Mean of TBF and of TTR (Σ ÷ FE; that the divisor is not FE + 1 is our reading, from memory); constructed."""
    between, restore = (120, 95.5, 210.25, 80), (1.5, 0.75, 2.25, 0.5)
    pieces = [
        piece
        for tbf, ttr in zip(between, restore, strict=True)
        for piece in ((tbf * 60, "producing"), (ttr * 60, "fault"))
    ]
    found = kpi_values(pieces, Production())
    hours = [found[n] / 3600 for n in ("mean_time_between_failures", "mean_time_to_restore")]
    assert hours == pytest.approx([126.4375, 1.25], rel=1e-12)
    assert hours[0] / sum(hours) == pytest.approx(0.9902104747919726, rel=1e-12)


def test_i_5_efficiencies_name_their_mapping():
    """OPC 40501-1 annex C.2.3: 0.882353 and 0.810811; OPC 40001-1 annex C.2 would give 0.769231 and 0.714286."""
    found = kpi_values(I_5, Production())
    assert found["technical_efficiency"] == pytest.approx(0.8823529411764706, rel=1e-12)
    assert found["utilization_efficiency"] == pytest.approx(0.8108108108108109, rel=1e-12)
    assert found["availability"] == pytest.approx(0.6666666666666666, rel=1e-12)


PUBLISHED = {
    # Nakajima, Introduction to TPM, 1988, ch. 3 (read as an extract): prints 87 %, 50 %, 98 %, 42.6 %
    "O-1": (
        ([(400, "producing"), (60, "fault")], 400, 8, 0.5),
        (0.87, 0.5, 0.98, 0.426),
        (0.005, 5e-4, 5e-4, 5e-4),
    ),
    # Willmott & McCarthy, TPM – A Route to World-Class Performance, 2001, p. 82: 97.5, 64.7, 100, 63.1 %
    "O-2": (([(1930, "producing"), (50, "fault")], 2498, 0, 0.5), (0.975, 0.647, 1.0, 0.631), (5e-4,) * 4),
    # encyclopedia example (from memory), printed digits cut off, not rounded: 86.6, 93.1, 91.32, 73.6 %
    "O-4": (([(390, "producing"), (60, "fault")], 242, 21, 1.5), (0.866, 0.931, 0.9132, 0.736), (1e-3,) * 4),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_examples(name):
    """O-1, O-2, O-4: within what the printed digits leave open."""
    inputs, printed, tolerances = PUBLISHED[name]
    for value, expected, tolerance in zip(figures(*inputs), printed, tolerances, strict=True):
        assert value == pytest.approx(expected, abs=tolerance)


def test_o_3_milling_machine():
    """Willmott & McCarthy 2001, p. 127: uptime 783 min, 86.0 %, 261 planned cycles, 77.7 % (cut); no quality."""
    pieces = [(783, "producing"), (115, "fault"), (12, "setup")]
    availability, effectiveness, _, index = figures(pieces, 203, 0, 3)
    assert elements(pieces).production_us == 783 * MINUTE
    assert availability == pytest.approx(0.860, abs=5e-4)
    assert effectiveness == pytest.approx(0.777, abs=1e-3)
    assert elements(pieces).production_us / (3 * MINUTE) == 261
    assert index == pytest.approx(0.669230769230769, rel=1e-12)


def test_o_5_factors_multiply():
    """Winarno & Setiyawan, Seminar Nasional IDEC 2017, abstract: 85.69 · 77.37 · 90.21 % = 59.81 %."""
    sums = OeeSums(
        planned_us=10**12,
        observed_us=10**12,
        planned_busy_us=10**12,
        production_us=8569 * 10**8,
        planned_produced_us=Fraction(8569 * 7737 * 10**4),
        planned_good_us=Fraction(8569 * 7737 * 9021),
    )
    found = oee(sums)
    assert [found[n].value for n in ("availability", "effectiveness", "quality_ratio")] == [0.8569, 0.7737, 0.9021]
    assert found["oee"].value == pytest.approx(0.5981, abs=5e-5)


def test_o_6_a_mean_of_periods_is_not_the_whole():
    """Ponidi & Ismanto 2020, abstract: halves 57·54·98 and 72·78·99 %; the weights 2 to 1 are ours."""
    halves = [(57, 54, 98), (72, 78, 99)]
    sums = [
        OeeSums(
            planned_busy_us=10**6 * (2 - i),
            production_us=10**4 * a * (2 - i),
            planned_produced_us=Fraction(100 * a * p * (2 - i)),
            planned_good_us=Fraction(a * p * q * (2 - i)),
        )
        for i, (a, p, q) in enumerate(halves)
    ]
    each = [oee(s)["oee"].value for s in sums]
    assert each == pytest.approx([0.301644, 0.555984], rel=1e-12)
    pooled = oee(sums[0] + sums[1])["oee"].value
    assert pooled == pytest.approx((2 * 0.301644 + 0.555984) / 3, rel=1e-12)
    assert pooled != pytest.approx(sum(each) / 2, abs=0.04)
