"""Names that strangers give to channels, stations, files and parts, and what must not become of them."""

import re
from html.parser import HTMLParser

NAMES = {
    "script": "<script>alert(1)</script>",
    "end of script": "</script><script>alert(1)//",
    "attribute": '"><img src=x onerror=alert(1)>',
    "quote": "' onmouseover='alert(1)",
    "comment": "<!--<svg onload=alert(1)>",
    "template": "{{7*7}}{% for x in y %}",
    "entity": "&lt;script&gt;&#60;b&#62;",
    "address": "javascript:alert(1)",
    "turned": "safe\u202egpj.exe\u2066x\u2069",
    "colour": "\x1b[31mred\x1b[0m\x1b]0;title\x07",
    "one byte escape": "\x9b31mred\x9d0;title\x9c",
    "bell and null": "a\x07b\x00c\x08\x7f",
    "line ends": "a\nb\rc\u2028d",
    "formula": "=cmd|' /C calc'!A0",
    "plus": "+1+cmd|' /C calc'!A0",
    "minus": "-2+3+cmd|' /C calc'!A0",
    "at": "@SUM(1+9)*cmd|' /C calc'!A0",
    "tab formula": "\t=1+1",
    "wide formula": "＝1+1",
    "up": "../../../../etc/passwd",
    "absolute": "/etc/passwd",
    "windows path": "..\\..\\windows\\x",
    "drive": "C:\\autoexec.bat",
    "device": "CON",
    "device with ending": "nul.txt",
    "device port": "COM1",
    "dots": "...",
    "trailing dot": "name.",
    "trailing space": "name ",
    "dot": "..",
    "long": "x" * 300,
    "percent": "%s%n%(x)s${HOME}$(id)`id`",
    "emoji": "👩\u200d🔧\ufe0f e\u0301",
}
SHORT = ("end of script", "attribute", "template", "turned", "colour", "one byte escape", "formula", "up", "device")

HARMFUL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
ADDRESSES = ("src", "href", "action", "formaction", "data", "poster", "srcset", "background", "xlink:href")


class Anatomy(HTMLParser):
    """What a page is made of, as a browser would see it."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: set[str] = set()
        self.handlers: list[str] = []
        self.outward: list[str] = []
        self.scripts: list[str] = []
        self.styles: list[str] = []
        self.inline_styles = 0
        self.policy = ""
        self._open = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self._open = tag if tag in ("script", "style") else ""
        if self._open == "script" and ("type", "application/json") in attrs:
            self._open = "data"
        if self._open in ("script", "style"):
            (self.scripts if tag == "script" else self.styles).append("")
        named = dict(attrs)
        if named.get("http-equiv", "").lower() == "content-security-policy":
            self.policy = named["content"]
        for name, value in attrs:
            self.inline_styles += name == "style"
            if name.startswith("on"):
                self.handlers.append(f"{tag} {name}")
            if name in ADDRESSES and not re.match(r"(#|[\w./-]+$|data:image/)", value or ""):
                self.outward.append(f"{tag} {name}={value}")

    def handle_endtag(self, tag):
        self._open = ""

    def handle_data(self, data):
        if self._open == "script":
            self.scripts[-1] += data
        elif self._open == "style":
            self.styles[-1] += data
