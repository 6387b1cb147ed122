"""A known recording in layouts that are met now and then: packed words and quality marks in rows per reading, formulas as texts."""

import datetime as dt
from collections.abc import Callable, Iterator

from tests.read.dialects import START, Recording

DIGITALS = (0, 1, 2)
BAD_EVERY, BAD_FIRST = 500, 77


def levels(rec: Recording) -> list[list[int]]:
    """Supply, release and part present of every sample."""
    return [(rec.digital >> bit & 1).tolist() for bit in DIGITALS]


def stamp(second: float) -> dt.datetime:
    """The time of a sample."""
    return START + dt.timedelta(seconds=float(second))


def per_reading(rec: Recording, tags: tuple[str, ...]) -> Iterator[tuple[int, str, str]]:
    """Row number, tag and value: every pressure, digitals where they change."""
    bits = levels(rec)
    for i, kpa in enumerate(rec.pressure_kpa):
        yield i, tags[0], f"{kpa:.3f}"
        for tag, level in zip(tags[1:], bits, strict=True):
            if i == 0 or level[i] != level[i - 1]:
                yield i, tag, str(level[i])


def packed_word(rec: Recording) -> bytes:
    """A row per reading, the three digitals as one word of bits."""
    lines = ["time;tag;value"]
    for i, (second, kpa, word) in enumerate(zip(rec.time_s, rec.pressure_kpa, rec.digital, strict=True)):
        written = stamp(second).isoformat(timespec="milliseconds")
        lines.append(f"{written};Vakuum [kPa];{kpa:.3f}")
        if i == 0 or word != rec.digital[i - 1]:
            lines.append(f"{written};DI_WORD;{word}")
    return "\n".join(lines).encode()


def two_values(rec: Recording) -> bytes:
    """A row per reading, numbers in one column and levels as words in another."""
    lines = ["timestamp,tag,value_num,value_bool"]
    for i, tag, value in per_reading(rec, ("Pressure_kPa", "supply_valve", "blow_off", "part_present")):
        cells = f"{value}," if tag == "Pressure_kPa" else f",{'true' if value == '1' else 'false'}"
        lines.append(f"{stamp(rec.time_s[i]).isoformat(timespec='milliseconds')},{tag},{cells}")
    return "\n".join(lines).encode()


def formulas(rec: Recording) -> bytes:
    """Fields as formulas of a spreadsheet that give a text."""
    bits = levels(rec)
    lines = ["Time,Pressure (kPa),Suction,Blow off,Part present"]
    for i, (second, kpa) in enumerate(zip(rec.time_s, rec.pressure_kpa, strict=True)):
        lines.append(",".join(f'="{v}"' for v in (f"{second:.2f}", f"{kpa:.3f}", *(b[i] for b in bits))))
    return "\n".join(lines).encode()


def quoted_formulas(rec: Recording) -> bytes:
    """The same between quotes, with decimal commas in a file parted by commas."""
    bits = levels(rec)
    lines = ["Time,Pressure (kPa),Suction,Blow off,Part present"]
    for i, (second, kpa) in enumerate(zip(rec.time_s, rec.pressure_kpa, strict=True)):
        cells = [f'"=""{v}"""'.replace(".", ",") for v in (f"{second:.2f}", f"{kpa:.3f}")]
        lines.append(",".join([*cells, *(str(b[i]) for b in bits)]))
    return "\n".join(lines).encode()


def german_marks(rec: Recording) -> bytes:
    """A row per reading with marks of quality; a bad reading is written as zero."""
    lines = ["Zeitstempel;Kanal;Wert;Güte"]
    for i, tag, value in per_reading(rec, ("Unterdruck kPa", "Saugventil", "Abblasventil", "Teil vorhanden")):
        moment = stamp(rec.time_s[i])
        bad = tag.startswith("Unterdruck") and i % BAD_EVERY == BAD_FIRST
        cells = "0,000;Schlecht" if bad else f"{value.replace('.', ',')};Gut"
        lines.append(f"{moment:%d.%m.%Y %H:%M:%S},{moment.microsecond // 1000:03d};{tag};{cells}")
    return "\n".join(lines).encode("cp1252")


def spanish_marks(rec: Recording) -> bytes:
    """The same in Spanish, date and time apart, marks of a gender of their own."""
    lines = ["Fecha;Hora;Variable;Valor;Calidad"]
    for i, tag, value in per_reading(rec, ("Presión [kPa]", "Válvula succión", "Soplado", "Pieza presente")):
        moment = stamp(rec.time_s[i])
        bad = tag.startswith("Presi") and i % BAD_EVERY == BAD_FIRST
        cells = "0;Mala" if bad else f"{value};Buena"
        lines.append(f"{moment:%d/%m/%Y};{moment:%H:%M:%S}.{moment.microsecond // 1000:03d};{tag};{cells}")
    return "\n".join(lines).encode()


def polish_marks(rec: Recording) -> bytes:
    """The same under a name that does not tell of quality, with marks in Polish that do."""
    text = spanish_marks(rec).decode()
    return text.replace("Calidad", "Ocena").replace("Mala", "zły").replace("Buena", "dobry").encode()


UNUSUAL: dict[str, Callable[[Recording], bytes]] = {
    f.__name__: f
    for f in (packed_word, two_values, formulas, quoted_formulas, german_marks, spanish_marks, polish_marks)
}
