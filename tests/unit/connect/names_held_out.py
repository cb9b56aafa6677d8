"""Names of variables as controls might give them, in four languages; made up before the vocabulary was tuned.

Each list is one machine, a line each: name, type, the signal that it is, or none. Common practice, no source. The
vocabulary is not changed after a look at what single names here give: new words are tried on others.
"""

ENGLISH = """
Cell.MachineState Int16 state
OperatingMode Int16 mode
MainProgramName String program
ProgramState Int16 program_state
PartsProduced_Total UInt32 part_count
GoodParts UInt32 good_count
ScrapParts UInt32 scrap_count
CycleCounter UInt32 cycle_count
LastCycleTime_ms UInt32 cycle_time_reported
WorkOrder String lot
WorkOrderQuantity UInt32 lot_size
PartNumber String part
ToolInSpindle Int16 active_tool
ToolChangeInProgress Boolean tool_changing
FeedHoldActive Boolean feed_hold
SpindleRPM Double spindle_speed
SpindleLoadPercent Double spindle_load
ActualFeedrate Double feed_rate
FeedrateOverride Double feed_override
RapidOverride Double rapid_override
TotalPower_W Double power
TotalEnergy_kWh Double energy
AlarmPresent Boolean alarm
AlarmNumber Int16 alarm_code
AlarmMessageText String alarm_text
CoolantPressure Double none
XAxisLoad Double none
DoorLocked Boolean none
FirmwareVersion String none
CabinetTemperature Double none
HourMeter UInt32 none
"""
GERMAN = """
Anlagenzustand Int16 state
BA_Betriebsart Int16 mode
NC_Programmname String program
NC_Programmzustand Int16 program_state
Stueckzahl_Ist UInt32 part_count
Gutteile UInt32 good_count
Schlechtteile UInt32 scrap_count
Zyklenzaehler UInt32 cycle_count
Zykluszeit_s Double cycle_time_reported
Fertigungsauftrag String lot
Losgroesse UInt32 lot_size
Teilenummer String part
Werkzeug_aktuell Int16 active_tool
Werkzeugwechsel_laeuft Boolean tool_changing
Vorschub_Halt Boolean feed_hold
Spindeldrehzahl Double spindle_speed
Spindellast Double spindle_load
Vorschub_Ist Double feed_rate
Vorschub_Override Double feed_override
Eilgang_Override Double rapid_override
Leistung_kW Double power
Energie_kWh Double energy
Sammelstoerung Boolean alarm
Fehlernummer Int16 alarm_code
Fehlertext String alarm_text
Kuehlmitteldruck Double none
Achse_X_Istwert Double none
Tuer_zu Boolean none
Softwarestand String none
Oeltemperatur Double none
Betriebsstunden UInt32 none
"""
SPANISH = """
Estado_Maquina Int16 state
Modo_Funcionamiento Int16 mode
Nombre_Programa String program
Estado_Programa Int16 program_state
Piezas_Producidas UInt32 part_count
Piezas_Buenas UInt32 good_count
Piezas_Malas UInt32 scrap_count
Contador_Ciclos UInt32 cycle_count
Tiempo_Ciclo_s Double cycle_time_reported
Orden_Trabajo String lot
Cantidad_Lote UInt32 lot_size
Referencia_Pieza String part
Herramienta_Activa Int16 active_tool
Cambio_Herramienta_Activo Boolean tool_changing
Avance_Detenido Boolean feed_hold
Velocidad_Husillo_rpm Double spindle_speed
Carga_Husillo Double spindle_load
Avance_Real Double feed_rate
Override_Avance Double feed_override
Override_Rapido Double rapid_override
Potencia_kW Double power
Energia_kWh Double energy
Alarma Boolean alarm
Codigo_Alarma Int16 alarm_code
Texto_Alarma String alarm_text
Presion_Refrigerante Double none
Posicion_Eje_X Double none
Puerta_Cerrada Boolean none
Version_Software String none
Temperatura_Aceite Double none
Horas_Trabajo UInt32 none
"""
JAPANESE = """
設備状態 Int16 state
モード Int16 mode
加工プログラム名称 String program
プログラムステータス Int16 program_state
加工数カウンタ UInt32 part_count
良品数量 UInt32 good_count
不良数量 UInt32 scrap_count
サイクル回数 UInt32 cycle_count
サイクル時間 Double cycle_time_reported
指図番号 String lot
ロット数 UInt32 lot_size
部品番号 String part
主軸ツール番号 Int16 active_tool
ツール交換中 Boolean tool_changing
送り停止 Boolean feed_hold
主軸回転速度 Double spindle_speed
スピンドル負荷 Double spindle_load
送り速度 Double feed_rate
送りオーバライド Double feed_override
早送りオーバライド Double rapid_override
消費電力 Double power
積算電力量 Double energy
異常発生 Boolean alarm
異常コード Int16 alarm_code
異常内容 String alarm_text
クーラント圧力 Double none
X軸位置 Double none
ドア閉 Boolean none
ソフトウェア版数 String none
油温度 Double none
通電時間 UInt32 none
"""


def entries(text: str) -> list[tuple[str, str, str | None]]:
    """(name, type, signal or None) of one list."""
    rows = [line.split() for line in text.split("\n") if line]
    return [(name, kind, None if signal == "none" else signal) for name, kind, signal in rows]


LISTS = {
    "English": entries(ENGLISH),
    "German": entries(GERMAN),
    "Spanish": entries(SPANISH),
    "Japanese": entries(JAPANESE),
}
