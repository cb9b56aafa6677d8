"""What controls of no standard call their variables, in four languages; the words are the simulator's own."""

from __future__ import annotations

from collections.abc import Mapping

LAYOUTS = ("standard", "partial", "flat")
"""All nodes as the companion specifications have them, some of them, or none."""

LANGUAGES = ("en", "de", "es", "ja")

NAMES: Mapping[str, tuple[str, str, str, str]] = {
    "state": ("MachineStatus", "Maschinenstatus", "EstadoMaquina", "機械状態"),
    "mode": ("OpMode", "Betriebsart", "ModoOperacion", "運転モード"),
    "program": ("ActProgName", "AktProgramm", "ProgramaActual", "実行プログラム名"),
    "program_state": ("ProgStatus", "ProgrammStatus", "EstadoPrograma", "プログラム状態"),
    "part_count": ("PartCounter", "Teilezaehler", "ContadorPiezas", "生産個数"),
    "scrap_count": ("RejectCounter", "Ausschusszaehler", "ContadorRechazos", "不良個数"),
    "part": ("ArticleNo", "ArtikelNr", "NumArticulo", "品番"),
    "lot": ("OrderNo", "AuftragsNr", "NumOrden", "ロット番号"),
    "lot_size": ("OrderQty", "AuftragsMenge", "CantidadOrden", "ロット数量"),
    "active_tool": ("SpindleToolNo", "WkzNrSpindel", "HerramientaHusillo", "主軸工具番号"),
    "tool_changing": ("ToolChangeActive", "WkzWechselAktiv", "CambioHerramienta", "工具交換中"),
    "feed_hold": ("FeedHold", "VorschubHalt", "ParoAvance", "フィードホールド"),
    "spindle_speed": ("SpindleSpeedAct", "SpindelDrehzahlIst", "VelocidadHusillo", "主軸回転数"),
    "spindle_load": ("SpindleLoad", "SpindelAuslastung", "CargaHusillo", "主軸負荷"),
    "feed_override": ("FeedOverride", "VorschubKorrektur", "CorreccionAvance", "送りオーバーライド"),
    "power": ("ActivePower_kW", "Wirkleistung_kW", "PotenciaActiva_kW", "有効電力_kW"),
    "energy": ("EnergyMeter_kWh", "Energiezaehler_kWh", "ContadorEnergia_kWh", "電力量_kWh"),
    "alarm": ("AlarmActive", "StoerungAktiv", "AlarmaActiva", "アラーム中"),
    "alarm_code": ("AlarmNo", "StoerungsNr", "NumAlarma", "アラーム番号"),
    "alarm_text": ("AlarmText", "StoerungsText", "TextoAlarma", "アラーム内容"),
    "number": ("ToolNumbers", "WkzNummern", "NumHerramientas", "工具番号一覧"),
    "life_basis": ("ToolLifeKind", "WkzStandzeitArt", "TipoVidaHerr", "工具寿命種別"),
    "used": ("ToolLifeUsed", "WkzStandzeitIst", "VidaHerrUsada", "工具寿命使用値"),
    "limit": ("ToolLifeLimit", "WkzStandzeitSoll", "VidaHerrLimite", "工具寿命設定値"),
    "locked": ("ToolLocked", "WkzGesperrt", "HerrBloqueada", "工具使用禁止"),
}
"""By signal, or by tool field for arrays over the pots: English, German, Spanish, Japanese."""

DECOYS: Mapping[tuple[str, str, str, str], float | str | bool | int] = {
    ("CoolantTemp", "KuehlmittelTemp", "TempRefrigerante", "クーラント温度"): 21.5,
    ("AxisPosX", "AchsPosX", "PosEjeX", "X軸位置"): 312.407,
    ("HydPressure", "HydraulikDruck", "PresionHidraulica", "油圧"): 64.2,
    ("DoorClosed", "TuerGeschlossen", "PuertaCerrada", "扉閉"): True,
    ("SoftwareVersion", "SoftwareStand", "VersionSoftware", "ソフトウェア版"): "7.2",
    ("LubricationCounter", "SchmierZaehler", "ContadorLubricacion", "潤滑回数"): 4711,
    ("ChipConveyorOn", "SpaenefoerdererEin", "TransportadorVirutas", "チップコンベア運転"): True,
}
"""Variables that are of no use here, by their names: every control has many."""

STATUS_WORDS: Mapping[str, int] = {"not_available": 0, "out_of_service": 8, "not_executing": 1, "executing": 3}
MODE_CODES: Mapping[str, int] = {"automatic": 1, "mdi": 2, "manual": 3, "setup": 4, "service": 5, "other": 9}
PROGRAM_CODES: Mapping[str, int] = {"ready": 0, "running": 2, "interrupted": 3, "ended": 4, "aborted": 5}
LIFE_KINDS: Mapping[str, int] = {"count": 1, "time": 2, "distance": 3}


def name_of(names: tuple[str, str, str, str], language: str) -> str:
    """The name in a language of LANGUAGES."""
    return names[LANGUAGES.index(language)]
