"""The words of the trade in English, German, Spanish and Japanese, by idea; common practice, no source.

Stems are folded as names are (``spelling.fold``): small letters, no accents, ä as ae. A stem of up to three
letters has to be a word of its own; a longer one may stand anywhere, since German and Japanese run words together.
"""

from __future__ import annotations

from collections.abc import Mapping

IDEAS: Mapping[str, str] = {
    "machine": "machine mach equipment maschine anlage maquina equipo 機械 設備 マシン",
    "state": "state status statusword zustand estado situacion 状態 ステータス",
    "running": (
        "running executing incycle cyclestart active busy laeuft inarbeit bearbeitung enmarcha "
        "ejecutando ejecucion 運転中 稼働中 加工中 実行中"
    ),
    "mode": "mode opmode betriebsart modus modo regimen モード",
    "program": "program prog prg ncp ncprogram programm programa プログラム",
    "name": "name text title bezeichnung nombre texto 名 名称 内容",
    "number": "number num no nr id ident code nummer numero codigo clave 番号 コード",
    "part": (
        "part piece workpiece item produced production teil werkstueck stueck gefertigt pieza "
        "piezas producid producto 生産 部品 ワーク 加工数 製品"
    ),
    "article": (
        "article articleno partno partnumber partid material artikel sachnr sachnummer teilenummer "
        "teilenr articulo referencia 品番 部品番号 製品番号"
    ),
    "counter": (
        "count counter counts cnt qty quantity total sum zaehler zaehlerstand anzahl menge "
        "stueckzahl contador conteo cantidad cant total 個数 数量 カウンタ カウント 回数 台数"
    ),
    "good": ("good ok accepted gut gutteile iot io buena buenas bueno conforme conformes aprobad 良品 合格"),
    "scrap": (
        "scrap reject rejects rejected nok ng defect defective ausschuss nio schlecht rechaz "
        "chatarra defectuos noconforme malas 不良 不合格 廃棄"
    ),
    "cycle": "cycle cyc zyklus takt ciclo サイクル",
    "time": "time duration dauer zeit tiempo duracion 時間 タイム",
    "lot": (
        "lot batch order job workorder auftrag los charge fertigungsauftrag lote orden pedido "
        "ロット 注文 指図 オーダ"
    ),
    "tool": "tool cutter wkz werkzeug herramienta herr 工具 ツール",
    "active": (
        "active actual current inspindle spindle act akt aktuell aktiv spindel ist husillo actual "
        "activa activo 主軸 現在 使用中"
    ),
    "change": "change changing exchange wechsel wechselt cambio cambiando 交換",
    "life": "life lifetime standzeit standmenge standweg lebensdauer vida 寿命",
    "used": (
        "used use consumed actual act count current ist verbraucht genutzt usada usado consumid "
        "使用値 使用 実績 現在値"
    ),
    "remaining": "remaining remain rest left restlich verbleibend restante queda 残 残り",
    "limit": (
        "limit max maximum set setpoint target soll grenze grenzwert maximal limite maxima objetivo "
        "設定値 設定 上限 最大"
    ),
    "warning": ("warning prewarn warn warnung vorwarn vorwarngrenze aviso preaviso advertencia 予告 警告"),
    "locked": "locked lock blocked disabled gesperrt sperre bloquead bloqueo 禁止 ロック",
    "kind": "kind type basis art typ tipo clase 種別 種類",
    "spindle": "spindle spnd spindel husillo cabezal 主軸 スピンドル",
    "speed": "speed rpm velocity drehzahl geschwindigkeit velocidad revoluciones 回転数 回転速度 速度",
    "load": "load utilization utilisation torque auslastung last belastung carga 負荷 ロード",
    "feed": "feed feedrate vorschub avance 送り フィード",
    "hold": "hold stop halt haltet paro pausa detenid ホールド 停止 保持",
    "override": "override ovr korrektur correccion オーバーライド オーバライド",
    "rapid": "rapid traverse eilgang rapido 早送り",
    "position": (
        "positioning indexing indexer tableturning positionier schwenk posicionando posicionamiento "
        "indexado 位置決め 割出"
    ),
    "power": "power activepower leistung wirkleistung potencia 電力 消費電力 パワー",
    "energy": "energy energymeter kwh energie energiezaehler wirkarbeit energia 電力量 エネルギー 積算電力",
    "alarm": "alarm fault error failure stoerung fehler meldung alarma fallo averia アラーム 異常 警報 故障",
    "axis": "axis axes achs achse eje ejes 軸位置 x軸 y軸 z軸 a軸 b軸 c軸",
    "coolant": "coolant lubric kuehlmittel schmier refrigerante lubricacion クーラント 切削液 潤滑",
    "temperature": "temp temperature temperatur temperatura 温度",
    "pressure": "pressure druck presion 圧",
    "door": "door tuer puerta 扉 ドア",
    "version": "version release firmware software ソフトウェア 版",
    "conveyor": "conveyor foerderer transportador virutas spaene コンベア コンベヤ",
    "voltage": "voltage current amp spannung strom tension corriente 電圧 電流",
}
"""Idea → stems."""

STRANGE = ("axis", "coolant", "temperature", "pressure", "door", "version", "conveyor", "voltage")
"""Ideas that no signal is about: a name that holds one of them is of something else."""

MEANINGS: Mapping[str, Mapping[str, str]] = {
    "state": {
        "executing": (
            "executing running incycle active busy laeuft inarbeit arbeitet betrieb bearbeitung "
            "enmarcha ejecutando 運転中 稼働 加工中 実行中"
        ),
        "not_executing": (
            "notexecuting idle ready standby stopped waiting bereit wartet gestoppt halt lista espera "
            "parada parado 待機 停止 準備"
        ),
        "out_of_service": ("outofservice maintenance service wartung mantenimiento fueradeservicio 保守 点検"),
        "not_available": "notavailable off offline aus abgeschaltet apagad desconectad 電源断 オフ",
    },
    "mode": {
        "automatic": "automatic auto automatik automatico memory 自動 メモリ",
        "mdi": "mdi mda",
        "manual": "manual jog hand handbetrieb manuell 手動 ジョグ",
        "setup": "setup setting einrichten einrichtbetrieb ajuste preparacion 段取 段取り",
        "service": "service maintenance wartung mantenimiento 保守",
    },
    "program_state": {
        "running": "running active executing laeuft aktiv enmarcha ejecutando 実行中 運転中",
        "interrupted": ("interrupted hold held paused unterbrochen angehalten interrumpid pausa 中断 休止"),
        "ended": "ended finished end complete beendet fertig terminado finalizado 終了 完了",
        "aborted": "aborted cancelled reset abgebrochen abortado cancelado 中止 リセット",
        "ready": "ready idle initializing selected bereit angewaehlt listo 準備 待機",
    },
    "life_basis": {
        "count": "count pieces usages parts anzahl stueck piezas 回数 個数",
        "time": "time minutes zeit standzeit tiempo 時間",
        "distance": "distance path weg distancia 距離",
    },
}
"""Signal → our value → stems of the texts that mean it."""
