"""[alerts]: one table of settings per rule, and exceptions for some machines, tools or servers.

An exception names what it holds for and the settings that differ there; what it leaves out stays as it is. Of
several that fit, the later one counts.
"""

from __future__ import annotations

from typing import ClassVar, Literal, NamedTuple, TypeVar

from pydantic import Field

from swarfline.plant.base import Id, Table, Text

Severity = Literal["information", "warning", "urgent"]

SELECTORS = ("machines", "cells", "servers", "tools")
"""The keys of an exception that say what it holds for."""

OF_MACHINE = ("machines", "cells", "servers")
OF_TOOL = SELECTORS
OF_SERVER = ("servers",)


class Where(NamedTuple):
    """What settings are asked for; empty: the rule knows no such thing."""

    machine: str = ""
    cell: str = ""
    server: str = ""
    tool: str = ""


class RuleTable(Table):
    """What every rule can be told."""

    rule: ClassVar[str]
    selected_by: ClassVar[tuple[str, ...]] = ()
    """The keys of an exception that can pick out this rule's subjects."""
    not_above: ClassVar[tuple[tuple[str, str], ...]] = ()
    """Pairs of keys of which the first must not be above the second: a level of return and a limit."""

    enabled: bool = Field(default=True, description="false: the rule raises nothing")
    severity: Severity = Field(default="warning", description="of its alerts")
    delay_s: float = Field(default=0, ge=0, le=604_800, description="raised only when it has held for so long")


class NearLimitTable(RuleTable):
    """[alerts.tool_near_limit]"""

    rule: ClassVar[str] = "tool_near_limit"
    selected_by: ClassVar[tuple[str, ...]] = OF_TOOL

    control_level: bool = Field(default=True, description="at the warning level that the control tells")
    share_pct: float | None = Field(default=None, gt=0, le=100, description="at this share of the limit")
    lead_min: float | None = Field(
        default=60, ge=0, description="when the limit is forecast to be nearer than this, in minutes of the clock"
    )
    cycles: int | None = Field(default=None, ge=1, description="when so many cycles or fewer are left")
    before_lot_end: bool = Field(default=False, description="when the limit comes before the lot is done")
    before_shift_end: bool = Field(default=False, description="when the limit comes before the shift ends")
    clear_pct: float = Field(default=95, gt=0, le=100, description="cleared below this share of the level")
    clear_factor: float = Field(default=1.2, ge=1, description="cleared beyond this multiple of lead and cycles")


class PastLimitTable(RuleTable):
    """[alerts.tool_past_limit]"""

    rule: ClassVar[str] = "tool_past_limit"
    selected_by: ClassVar[tuple[str, ...]] = OF_TOOL

    severity: Severity = Field(default="urgent", description="of its alerts")
    over_cycles: float = Field(default=1, ge=0, description="cycles of use beyond the limit that are let pass")


class LifeResetTable(RuleTable):
    """[alerts.tool_life_reset]"""

    rule: ClassVar[str] = "tool_life_reset"
    selected_by: ClassVar[tuple[str, ...]] = OF_TOOL

    delay_s: float = Field(default=300, ge=0, le=604_800, description="raised only when it has held for so long")
    below_pct: float = Field(
        default=50, gt=0, le=100, description="lives that ended below this share are asked about"
    )
    stop_s: float = Field(default=60, ge=0, description="a stop of this length may have been the change")
    within_min: float = Field(default=15, gt=0, le=1440, description="how far from the reset the stop may lie")
    stands_h: float = Field(default=8, gt=0, le=720, description="the question is cleared after so long")


class LoadRisingTable(RuleTable):
    """[alerts.tool_load_rising]"""

    rule: ClassVar[str] = "tool_load_rising"
    selected_by: ClassVar[tuple[str, ...]] = OF_TOOL
    not_above: ClassVar[tuple[tuple[str, str], ...]] = (("clear_pct", "rise_pct"),)

    rise_pct: float = Field(default=10, gt=0, description="rise above what is usual at this share of life")
    clear_pct: float = Field(default=5, ge=0, description="cleared below this rise")


class LotTable(RuleTable):
    """[alerts.lot_will_not_finish]"""

    rule: ClassVar[str] = "lot_will_not_finish"
    selected_by: ClassVar[tuple[str, ...]] = OF_MACHINE

    targets: bool = Field(default=True, description="targets that people told are watched")
    by_shift_end: bool = Field(default=False, description="lots are meant to be done by the end of a shift")
    beyond_min: float = Field(
        default=60, gt=0, description="a lot that is done up to so much planned time after the shift misses it"
    )
    clear_min: float = Field(default=10, ge=0, description="cleared when done so long before the end")
    tools: bool = Field(default=True, description="also when a tool will not last until it is done")


class StoppedTable(RuleTable):
    """[alerts.machine_stopped_longer]"""

    rule: ClassVar[str] = "machine_stopped_longer"
    selected_by: ClassVar[tuple[str, ...]] = OF_MACHINE

    waiting_min: float | None = Field(default=30, gt=0, description="longest time `waiting` in one stop")
    fault_min: float | None = Field(default=15, gt=0, description="longest time in `fault`")
    held_min: float | None = Field(default=15, gt=0, description="longest time `held`")
    setup_min: float | None = Field(default=None, gt=0, description="longest time in `setup`")
    out_of_service_min: float | None = Field(default=None, gt=0, description="longest time `out_of_service`")
    off_min: float | None = Field(default=None, gt=0, description="longest time `off`")
    clear_s: float = Field(default=60, ge=0, description="cleared when the machine has produced for so long")


class OutOfSightTable(RuleTable):
    """[alerts.machine_out_of_sight]"""

    rule: ClassVar[str] = "machine_out_of_sight"
    selected_by: ClassVar[tuple[str, ...]] = OF_MACHINE

    after_min: float = Field(default=15, gt=0, description="planned time in which its server tells nothing of it")


class DriftTable(RuleTable):
    """[alerts.cycle_time_drifted]"""

    rule: ClassVar[str] = "cycle_time_drifted"
    selected_by: ClassVar[tuple[str, ...]] = OF_MACHINE
    not_above: ClassVar[tuple[tuple[str, str], ...]] = (("clear_pct", "longer_pct"), ("clear_pct", "shorter_pct"))

    longer_pct: float | None = Field(default=5, gt=0, description="new level above the one before")
    shorter_pct: float | None = Field(default=None, gt=0, le=100, description="new level below the one before")
    clear_pct: float = Field(default=2, ge=0, description="cleared when the levels differ by less")
    cycles: int = Field(default=200, ge=40, le=1000, description="newest cycles looked at")


class ScrapTable(RuleTable):
    """[alerts.scrap_rate]"""

    rule: ClassVar[str] = "scrap_rate"
    selected_by: ClassVar[tuple[str, ...]] = OF_MACHINE
    not_above: ClassVar[tuple[tuple[str, str], ...]] = (("clear_pct", "limit_pct"), ("least_parts", "last_parts"))

    over: Literal["last_parts", "shift"] = Field(default="last_parts", description="what the share is taken over")
    last_parts: int = Field(default=100, ge=1, le=10_000, description="so many newest parts, of the last 24 hours")
    limit_pct: float = Field(default=10, gt=0, le=100, description="share of scrap from which it is raised")
    clear_pct: float = Field(default=5, ge=0, le=100, description="cleared below this share")
    least_parts: int = Field(default=20, ge=1, description="below so many parts nothing is raised")
    least_scrap: int = Field(default=5, ge=1, description="below so many scrap parts nothing is raised")


class PowerPeakTable(RuleTable):
    """[alerts.power_peak]"""

    rule: ClassVar[str] = "power_peak"
    selected_by: ClassVar[tuple[str, ...]] = ("cells",)

    limit_kw: float | None = Field(
        default=None, gt=0, description="mean power of a quarter of an hour; without it nothing is watched"
    )
    clear_pct: float = Field(default=95, gt=0, le=100, description="cleared below this share of the limit")


class ConnectionTable(RuleTable):
    """[alerts.connection_lost]"""

    rule: ClassVar[str] = "connection_lost"
    selected_by: ClassVar[tuple[str, ...]] = OF_SERVER
    not_above: ClassVar[tuple[tuple[str, str], ...]] = (("plant_clear_pct", "plant_pct"),)

    severity: Severity = Field(default="urgent", description="of its alerts")
    delay_s: float = Field(default=60, ge=0, le=604_800, description="raised only when it has held for so long")
    plant_pct: float = Field(
        default=50, gt=0, le=100, description="from this share of the servers on, one alert of the plant for all"
    )
    plant_clear_pct: float = Field(
        default=25, ge=0, le=100, description="at this share it is cleared; the servers that are left come next"
    )


class ClockTable(RuleTable):
    """[alerts.clock_offset]"""

    rule: ClassVar[str] = "clock_offset"
    selected_by: ClassVar[tuple[str, ...]] = OF_SERVER
    not_above: ClassVar[tuple[tuple[str, str], ...]] = (("clear_s", "limit_s"),)

    delay_s: float = Field(default=60, ge=0, le=604_800, description="raised only when it has held for so long")
    limit_s: float = Field(default=5, gt=0, description="difference between the server's clock and ours")
    clear_s: float = Field(default=3, ge=0, description="cleared below this difference")


class UnmappedTable(RuleTable):
    """[alerts.codes_unmapped]"""

    rule: ClassVar[str] = "codes_unmapped"
    selected_by: ClassVar[tuple[str, ...]] = OF_SERVER

    severity: Severity = Field(default="information", description="of its alerts")


class DiskTable(RuleTable):
    """[alerts.disk]"""

    rule: ClassVar[str] = "disk"
    not_above: ClassVar[tuple[tuple[str, str], ...]] = (("limit_gb", "clear_gb"),)

    severity: Severity = Field(default="urgent", description="of its alerts")
    limit_gb: float = Field(default=2, gt=0, description="free space of the store's folder, in 10⁹ bytes")
    clear_gb: float = Field(default=3, gt=0, description="cleared from this free space on")


class ExceptionTable(Table):
    """[[alerts.exceptions]]: settings that hold for some machines, tools or servers only."""

    machines: tuple[Id, ...] = Field(default=(), description="empty: every machine")
    cells: tuple[Id, ...] = Field(default=(), description="empty: every cell")
    servers: tuple[Id, ...] = Field(default=(), description="empty: every server")
    tools: tuple[Text, ...] = Field(default=(), description="as the machine tells them; empty: every tool")
    tool_near_limit: NearLimitTable | None = None
    tool_past_limit: PastLimitTable | None = None
    tool_life_reset: LifeResetTable | None = None
    tool_load_rising: LoadRisingTable | None = None
    lot_will_not_finish: LotTable | None = None
    machine_stopped_longer: StoppedTable | None = None
    machine_out_of_sight: OutOfSightTable | None = None
    cycle_time_drifted: DriftTable | None = None
    scrap_rate: ScrapTable | None = None
    power_peak: PowerPeakTable | None = None
    connection_lost: ConnectionTable | None = None
    clock_offset: ClockTable | None = None
    codes_unmapped: UnmappedTable | None = None

    @property
    def selection(self) -> dict[str, tuple[str, ...]]:
        """What it holds for, by the keys that are given."""
        return {key: chosen for key in SELECTORS if (chosen := getattr(self, key))}

    @property
    def settings(self) -> dict[str, RuleTable]:
        """The settings given, by rule."""
        return {
            name: told for name in type(self).model_fields if isinstance(told := getattr(self, name), RuleTable)
        }

    def holds_for(self, where: Where) -> bool:
        """Whether everything that it names fits."""
        return all(getattr(where, key.removesuffix("s")) in chosen for key, chosen in self.selection.items())


R = TypeVar("R", bound=RuleTable)


class AlertsTable(Table):
    """[alerts]: settings per rule, and where they differ."""

    tool_near_limit: NearLimitTable = NearLimitTable()
    tool_past_limit: PastLimitTable = PastLimitTable()
    tool_life_reset: LifeResetTable = LifeResetTable()
    tool_load_rising: LoadRisingTable = LoadRisingTable()
    lot_will_not_finish: LotTable = LotTable()
    machine_stopped_longer: StoppedTable = StoppedTable()
    machine_out_of_sight: OutOfSightTable = OutOfSightTable()
    cycle_time_drifted: DriftTable = DriftTable()
    scrap_rate: ScrapTable = ScrapTable()
    power_peak: PowerPeakTable = PowerPeakTable()
    connection_lost: ConnectionTable = ConnectionTable()
    clock_offset: ClockTable = ClockTable()
    codes_unmapped: UnmappedTable = UnmappedTable()
    disk: DiskTable = DiskTable()
    again_within_min: float = Field(
        default=5,
        ge=0,
        le=1440,
        description="an alert that comes back so soon after it was cleared is the same one, raised once more",
    )
    longest_shelving_h: float = Field(
        default=72, gt=0, le=720, description="an alert can be shelved for so long at most"
    )
    exceptions: tuple[ExceptionTable, ...] = ()

    def settings(self, kind: type[R], where: Where = Where()) -> R:  # noqa: B008  (a named tuple never changes)
        """What holds of a rule there."""
        found: R = getattr(self, kind.rule)
        for exception in self.exceptions:
            if exception.holds_for(where):
                found = merged(found, exception.settings.get(kind.rule))
        return found

    def everywhere(self, kind: type[R]) -> list[R]:
        """What holds of a rule: in general, and under each exception alone."""
        base: R = getattr(self, kind.rule)
        return [base, *(merged(base, e.settings[kind.rule]) for e in self.exceptions if kind.rule in e.settings)]

    def cells(self, rule: str) -> tuple[str, ...]:
        """The cells that exceptions of a rule name, each once."""
        named = (e.cells for e in self.exceptions if rule in e.settings)
        return tuple(dict.fromkeys(cell for cells in named for cell in cells))


def merged(table: R, over: RuleTable | None) -> R:
    """A rule's settings with those that an exception gives."""
    if over is None:
        return table
    return table.model_copy(update={key: getattr(over, key) for key in over.model_fields_set})
