"""Words for the two levels of a digital signal."""

ON_WORDS = frozenset({
    "on", "true", "high", "hi", "yes", "y", "t", "active", "activated", "set", "open", "opened", "energised",
    "energized", "closed contact", "ein", "an", "wahr", "ja", "j", "aktiv", "auf", "offen", "marche", "vrai", "oui",
    "actif", "ouvert", "ouverte", "si", "sí", "sì", "verdadero", "activo", "abierto", "abierta", "encendido", "vero",
    "attivo", "aperto", "aperta", "acceso", "sim", "verdadeiro", "ativo", "aberto", "aberta", "ligado", "aan",
    "waar", "actief", "på", "till", "sann", "sant", "til", "sand", "päällä", "tosi", "auki", "wł", "wl", "tak",
    "prawda", "zał", "zap", "ano", "pravda", "be", "igen", "igaz", "açık", "evet", "doğru", "вкл", "да", "истина",
    "开", "開", "是", "真", "オン", "켜짐", "예", "●", "■", "present", "detected",
})  # fmt: skip
OFF_WORDS = frozenset({
    "off", "false", "low", "lo", "no", "n", "f", "inactive", "deactivated", "reset", "closed", "close",
    "de-energised", "de-energized", "deenergised", "deenergized", "aus", "falsch", "nein", "inaktiv", "zu",
    "geschlossen", "arrêt", "arret", "faux", "non", "inactif", "fermé", "fermée", "ferme", "falso", "inactivo",
    "cerrado", "cerrada", "apagado", "inattivo", "chiuso", "chiusa", "spento", "não", "nao", "inativo", "fechado",
    "fechada", "desligado", "uit", "onwaar", "nee", "inactief", "av", "från", "falsk", "falskt", "nej", "fra",
    "nei", "usann", "pois", "epätosi", "kiinni", "wył", "wyl", "nie", "fałsz", "vyp", "ne", "nepravda", "ki", "nem",
    "hamis", "kapalı", "hayır", "yanlış", "выкл", "нет", "ложь", "关", "閉", "否", "假", "オフ", "꺼짐", "아니오", "○",
    "□", "absent", "clear",
})  # fmt: skip


def level_of_word(word: str) -> int | None:
    """1 or 0 for a word that means on or off in a common language, None for any other."""
    flat = word.strip().casefold()
    if flat in ON_WORDS:
        return 1
    return 0 if flat in OFF_WORDS else None
