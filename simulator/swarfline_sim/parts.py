"""The works' parts: programs and tools for the pump housing, the valve cover and the manifold block."""

from __future__ import annotations

from swarfline_sim.program import Cut, Program, ToolStep
from swarfline_sim.wear import COUNT, DISTANCE, TIME, ToolSpec

PH_12 = Program(
    name="O1201",
    part="PH-12",
    parts_per_cycle=1,
    planned_s=180.0,
    steps=(
        ToolStep(1, 10_000, 4, (Cut(2150, 1.5, 40, 0.1, 0, 0),)),
        ToolStep(2, 12_000, 3, (Cut(1400, 5, 5, 0.1, 90, 0), Cut(1100, 5, 5, 0.1, 90, 180))),
        ToolStep(3, 14_000, 2, (Cut(1500, 3, 6, 0.1, 90, 180),)),
        ToolStep(4, 9_000, 2, (Cut(870, 8.5, 6.68, 0.12, 90, 180),)),
        ToolStep(6, 9_000, 4, (Cut(1200, 0.5, 12, 0.08, 90, 180),)),
        ToolStep(5, 1_200, 6, (Cut(500, 1.6, 10, 0.25, 90, 180),)),
    ),
)

VC_30 = Program(
    name="O3002",
    part="VC-30",
    parts_per_cycle=2,
    planned_s=136.0,
    steps=(
        ToolStep(7, 9_000, 5, (Cut(2250, 1.2, 45, 0.1, 0, 0),)),
        ToolStep(8, 12_000, 3, (Cut(1680, 4, 6, 0.1, 0, 0),)),
        ToolStep(11, 12_000, 4, (Cut(1080, 0.5, 12, 0.06, 30, 0),)),
        ToolStep(9, 8_000, 2, (Cut(860, 9, 7, 0.13, 0, 90),)),
        ToolStep(10, 1_500, 6, (Cut(700, 1.7, 9, 0.2, 0, 90),)),
    ),
)

MB_05 = Program(
    name="O0507",
    part="MB-05",
    parts_per_cycle=1,
    planned_s=306.0,
    steps=(
        ToolStep(12, 10_000, 4, (Cut(3300, 1.5, 40, 0.1, 0, 0),)),
        ToolStep(13, 12_000, 3, (Cut(2700, 5, 5, 0.1, 90, 0),)),
        ToolStep(14, 9_000, 2, (Cut(1050, 10, 7.85, 0.12, 90, 90), Cut(900, 10, 7.85, 0.12, 90, 270))),
        ToolStep(15, 11_000, 2, (Cut(1100, 6.8, 5.34, 0.1, 90, 270),)),
        ToolStep(16, 14_000, 2, (Cut(1500, 3, 6, 0.1, 90, 180),)),
        ToolStep(17, 1_200, 6, (Cut(900, 1.6, 10, 0.25, 90, 180),)),
        ToolStep(18, 6_000, 4, (Cut(1000, 0.3, 20, 0.08, 0, 180),)),
        ToolStep(19, 12_000, 4, (Cut(1350, 0.5, 12, 0.06, 0, 180),)),
    ),
)

PROGRAMS = {program.part: program for program in (PH_12, VC_30, MB_05)}

TOOLS = (
    ToolSpec(1, 1, "Face mill 50", COUNT, 900, True, load_growth=0.22),
    ToolSpec(2, 2, "End mill 10", TIME, 21_600.0, True, load_growth=0.30),
    ToolSpec(3, 3, "Slot mill 6", DISTANCE, 900.0, False, load_growth=0.35),
    ToolSpec(4, 4, "Drill 8.5", COUNT, 640, False, load_growth=0.28),
    ToolSpec(5, 5, "Tap M10", COUNT, 720, True, load_growth=0.20),
    ToolSpec(6, 6, "Chamfer mill 16", TIME, 28_800.0, False, load_growth=0.15),
    ToolSpec(11, 7, "Face mill 63", COUNT, 800, True, load_growth=0.22),
    ToolSpec(12, 8, "End mill 12", TIME, 18_000.0, False, load_growth=0.30),
    ToolSpec(13, 9, "Drill 9", COUNT, 420, True, load_growth=0.30),
    ToolSpec(14, 10, "Tap M8", COUNT, 350, False, load_growth=0.20),
    ToolSpec(15, 11, "Finishing mill 10", DISTANCE, 700.0, True, load_growth=0.25),
    ToolSpec(21, 12, "Face mill 50 long", COUNT, 500, True, load_growth=0.22),
    ToolSpec(22, 13, "End mill 10 long", TIME, 14_400.0, True, load_growth=0.30),
    ToolSpec(23, 14, "Drill 10 deep", DISTANCE, 500.0, True, load_growth=0.32),
    ToolSpec(24, 15, "Drill 6.8 deep", COUNT, 220, False, load_growth=0.30),
    ToolSpec(25, 16, "Slot mill 6 long", TIME, 9_000.0, False, load_growth=0.35),
    ToolSpec(26, 17, "Tap M12", COUNT, 260, True, load_growth=0.20),
    ToolSpec(27, 18, "Boring bar 20", COUNT, 600, False, load_growth=0.10),
    ToolSpec(28, 19, "Chamfer mill 12", COUNT, 450, True, load_growth=0.15),
)


def tools_for(parts: tuple[str, ...]) -> tuple[ToolSpec, ...]:
    """The tools that the programs of these parts use, by pot."""
    pots = {step.pot for part in parts for step in PROGRAMS[part].steps}
    return tuple(tool for tool in TOOLS if tool.pot in pots)
