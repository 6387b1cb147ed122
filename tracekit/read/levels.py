"""Words for the two levels of a digital signal."""

import functools
from collections.abc import Sequence

from tracekit.read.words import fold

_AROUND = "'\"`\u2018\u2019[](){}<> "
"""Signs that may stand around a level."""

ON_WORDS = frozenset({
    "on", "true", "high", "hi", "yes", "y", "t", "active", "activated", "set", "open", "opened", "energised",
    "energized", "closed contact", "ein", "an", "wahr", "ja", "j", "aktiv", "auf", "offen", "marche", "vrai", "oui",
    "actif", "ouvert", "ouverte", "si", "sí", "sì", "verdadero", "activo", "abierto", "abierta", "encendido", "vero",
    "attivo", "aperto", "aperta", "acceso", "sim", "verdadeiro", "ativo", "aberto", "aberta", "ligado", "aan", "waar",
    "actief", "på", "till", "sann", "sant", "til", "sand", "päällä", "tosi", "auki", "wł", "wl", "tak", "prawda",
    "zał", "zap", "ano", "pravda", "be", "igen", "igaz", "açık", "evet", "doğru", "вкл", "да", "истина", "увімк",
    "увімкнено", "так", "开", "開",
    "是", "真", "オン", "켜짐", "예", "●", "■", "present", "detected", "zapnuto", "zapnut", "włączony", "włączone",
    "otwarty", "otevřeno", "otevřen", "ligada", "activada", "conectado", "attivato", "activé", "activée",
    "ingeschakeld", "tillslagen", "bekapcsolva", "pornit", "deschis", "da", "var", "aktif", "打开", "开启", "接通",
    "通", "有", "有り", "あり", "入", "動作", "열림", "있음", "h", "vorhanden", "energizado", "eccitato",
    "nyitva", "nyitott", "öppen", "öppet", "åben", "åbent", "åpen", "åpent", "otwarte", "otevřený", "ανοιχτό",
    "ανοικτή", "ανοικτό", "открыт", "открыто", "открыта", "відкрито", "otvoreno", "otvorený", "odprto", "avatud",
})  # fmt: skip
OFF_WORDS = frozenset({
    "off", "false", "low", "lo", "no", "n", "f", "inactive", "deactivated", "reset", "closed", "close",
    "de-energised", "de-energized", "deenergised", "deenergized", "aus", "falsch", "nein", "inaktiv", "zu",
    "geschlossen", "arrêt", "arret", "faux", "non", "inactif", "fermé", "fermée", "ferme", "falso", "inactivo",
    "cerrado", "cerrada", "apagado", "inattivo", "chiuso", "chiusa", "spento", "não", "nao", "inativo", "fechado",
    "fechada", "desligado", "uit", "onwaar", "nee", "inactief", "av", "från", "falsk", "falskt", "nej", "fra", "nei",
    "usann", "pois", "epätosi", "kiinni", "wył", "wyl", "nie", "fałsz", "vyp", "ne", "nepravda", "ki", "nem", "hamis",
    "kapalı", "hayır", "yanlış", "выкл", "нет", "ложь", "вимк", "вимкнено",
    "ні", "关", "閉", "否", "假", "オフ", "꺼짐", "아니오", "○", "□",
    "absent", "clear", "vypnuto", "vypnut", "wyłączony", "wyłączone", "zamknięty", "zavřeno", "zavřen", "desligada",
    "desactivado", "desactivada", "desconectado", "disattivato", "désactivé", "désactivée", "uitgeschakeld",
    "frånslagen", "kikapcsolva", "oprit", "închis", "nu", "yok", "pasif", "关闭", "断开", "断", "无", "無", "無し",
    "なし", "切", "停止", "닫힘", "없음", "l", "nicht vorhanden", "desenergizado", "diseccitato",
    "zárva", "zárt", "gesloten", "dicht", "stängd", "stängt", "lukket", "suljettu", "zamknięte", "zavřený", "κλειστό",
    "κλειστή", "закрыт", "закрыто", "закрыта", "закрито", "zatvoreno", "zatvorený", "zaprto", "suletud",
})  # fmt: skip

RISES = frozenset({
    "rising", "rise", "up", "+", "↑", "↗", "0->1", "0→1", "0>1", "steigend", "montant", "subida",
    "came", "come", "comes", "coming", "incoming", "raised", "occurred", "occurs", "appeared", "appears", "start",
    "started", "starts", "begin", "began", "begins", "pressed", "asserted", "triggered", "tripped", "alarm", "pick up",
    "k", "kommt", "kommend", "gekommen", "gesetzt", "ausgelöst", "angezogen", "beginn", "anfang", "apparu", "apparue",
    "apparition", "apparaît", "début", "aparece", "aparecido", "aparición", "subido",
    "inicio", "entra", "comparso", "comparsa", "insorto", "inizio", "apareceu", "início", "gekomen", "opgekomen",
    "komt", "kom", "kommet", "kommit", "alkaa", "alkoi", "tuli", "wystąpił", "wystąpiło", "pojawił się", "nadejście",
    "początek", "příchod", "vznik", "začátek", "geldi", "başladı", "apărut", "început", "bejött", "jött", "kezdet",
    "пришло", "пришел", "пришёл", "появилось", "появился", "появление", "возникло", "начало", "включено", "включен",
    "включён", "включение", "発生", "開始", "セット", "发生", "出现", "触发", "到来", "开始", "置位", "발생", "시작",
})  # fmt: skip
FALLS = frozenset({
    "falling", "fall", "down", "-", "↓", "↘", "1->0", "1→0", "1>0", "fallend", "descendant", "bajada",
    "went", "gone", "goes", "going", "outgoing", "cleared", "clears", "returned", "disappeared", "disappears", "stop",
    "stopped", "stops", "end", "ended", "ends", "released", "deasserted", "de-asserted", "recovered", "normal",
    "drop out", "g", "geht", "gehend", "gegangen", "rückgesetzt", "zurückgesetzt", "abgefallen", "ende", "disparu",
    "disparue", "disparition", "disparaît", "fin", "desaparece", "desaparecido",
    "desaparición", "bajado", "sale", "scomparso", "scomparsa", "cessato", "cessata", "rientrato", "rientrata", "fine",
    "desapareceu", "fim", "gegaan", "opgeheven", "gaat", "einde", "gick", "gået", "gått", "loppuu", "loppui",
    "poistui", "ustąpił", "ustąpiło", "zniknął", "odejście", "koniec", "odchod", "zánik", "konec", "gitti", "bitti",
    "dispărut", "sfârșit", "kiment", "vége", "ушло", "ушел", "ушёл", "исчезло", "исчез", "исчезновение", "конец",
    "выключено", "выключен", "выключение", "復帰", "解除", "終了", "リセット", "恢复", "消失", "复位", "离去", "结束",
    "해제", "종료",
})  # fmt: skip
"""What lists of events write of a change, whichever signal it is of (common practice, no source)."""


@functools.cache
def _changes() -> dict[str, int]:
    return {**{fold(w): 1 for w in RISES}, **{fold(w): 0 for w in FALLS}}


def level_of_change(word: str) -> int | None:
    """1 or 0 for a word or sign that tells where a change of a signal leads, None for any other.

    Only lists of events hold such: elsewhere "rising" may be said of a pressure, and "-" is no value.
    """
    level = level_of_word(word)
    return _changes().get(fold(word.strip().strip("\"'"))) if level is None else level


def level_of_word(word: str) -> int | None:
    """1 or 0 for a word that means on or off in a common language, None for any other."""
    return _levels().get(fold(word.strip().strip("\"'")))


def two_levels(words: Sequence[str]) -> bool:
    """True for the two levels of one signal, be they quoted or in brackets."""
    bare = [w.strip(_AROUND) for w in words]
    return sorted(w if w in ("0", "1") else str(level_of_word(w)) for w in bare) == ["0", "1"]


@functools.cache
def _levels() -> dict[str, int]:
    """Level of each folded word; words that would mean both are left out."""
    on, off = ({fold(w) for w in words} for words in (ON_WORDS, OFF_WORDS))
    return {**dict.fromkeys(on - off, 1), **dict.fromkeys(off - on, 0)}
