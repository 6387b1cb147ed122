"""Telling somebody of bad logs and of alarms over time: by a command of the user's, or a POST; both off by default.

A finding that stays is told once, again when it gets more severe, and again after some days. Neither way may hold up
the watch: both have a time limit. Of the address only the host is ever logged, since keys stand in the rest.
"""

import http.client
import json
import os
import subprocess
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Mapping
from email.message import Message
from typing import IO

from tracekit.errors import UsageError, message
from tracekit.fleet.batch import SEVERITIES, Outcome
from tracekit.frozen import dataclass
from tracekit.history.place import Place
from tracekit.history.schema import digest
from tracekit.options.watch import WatchOptions

WEBHOOK_VARIABLE = "TRACEKIT_WEBHOOK"
_TOLD, LIMIT_PASSED = "alarmed", "limit_passed"
_DAY_S = 86_400.0
_LONGEST = 200
Say = Callable[[str, Mapping[str, object]], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One finding of a log: whose it is, its code and title, how severe and how probable."""

    station: str
    code: str
    severity: str
    title: str
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Telling:
    """Whom to tell: `command` is run, `webhook` is posted to, for findings whose severity is one of `severities`."""

    command: tuple[str, ...] = ()
    webhook: str = ""
    severities: tuple[str, ...] = ("critical", "major")

    @property
    def anybody(self) -> bool:
        """Whether there is somebody to tell."""
        return bool(self.command or self.webhook)


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """What is told at once: name of the log's file, its page, the worst severity, and what is new.

    alarms  facts of each alarm over time, with `station` (or `supply_group`) and `measure` among them
    """

    file: str
    page: str
    severity: str
    findings: tuple[Found, ...] = ()
    alarms: tuple[Mapping[str, object], ...] = ()


def checked_webhook(address: str) -> str:
    """The address, if it is one that can be posted to.

    Raises UsageError, which never repeats the address.
    """
    try:
        parts = urllib.parse.urlsplit(address)
        good = parts.scheme in ("http", "https") and bool(parts.hostname) and "@" not in parts.netloc
        good = good and (parts.port is None or parts.port > 0) and address.isascii() and address.isprintable()
    except ValueError:
        good = False
    if not good or " " in address:
        expected = "an http or https address without a user's name in it"
        raise UsageError(message("--webhook", "that is no address to post to", expected, "Correct it."))
    return address


def found_of(outcome: Outcome) -> tuple[Found, ...]:
    """The findings of a log, and the limits of the station file that it passes."""
    limits = (
        Found(
            station=_text(one.station), code=f"{LIMIT_PASSED}:{one.measure}", severity=one.severity,
            title=_text(one.text), confidence=1.0,
        )
        for one in outcome.limits
    )  # fmt: skip
    return (*found_in(outcome.document), *limits)


def found_in(document: Mapping[str, object] | None) -> tuple[Found, ...]:
    """The findings of a diagnosis.json, in its order."""
    stations = (document or {}).get("stations", ())
    listed = stations if isinstance(stations, list | tuple) else ()
    return tuple(_found(str(station["station"]), finding) for station in listed for finding in station["findings"])


def _found(station: str, finding: Mapping[str, object]) -> Found:
    return Found(
        station=_text(station), code=_text(finding["code"]), severity=str(finding["severity"]),
        title=_text(finding["title"]), confidence=float(str(finding["confidence"])),
    )  # fmt: skip


def _text(value: object) -> str:
    """A text from a log, cut to length, without control characters: no program that is told can be fooled by them."""
    return "".join(c if c.isprintable() else " " for c in str(value))[:_LONGEST]


def tell(
    telling: Telling, place: Place, facts: tuple[str, str], found: tuple[Found, ...], options: WatchOptions, say: Say
) -> None:
    """Tell what is new among the findings of a log that are severe enough.

    place  where it is noted what was told
    facts  name of the log's file, path of its page
    """
    if not telling.anybody:
        return
    bad = [f for f in found if f.severity in telling.severities]
    new = tuple(f for f in bad if not _told_lately(place, f, options))
    if not new:
        return
    worst = max(new, key=lambda f: SEVERITIES.index(f.severity) if f.severity in SEVERITIES else -1).severity
    if send(telling, Notice(file=facts[0], page=facts[1], severity=worst, findings=new), options, say):
        for one in new:
            _note_told(place, one)


def send(telling: Telling, notice: Notice, options: WatchOptions, say: Say) -> bool:
    """Run the command and post to the address, whichever there is. True where one of them went well."""
    told = []
    if telling.command:
        told.append(_run(telling.command, notice, options.tell_s, say))
    if telling.webhook:
        told.append(_post(telling.webhook, notice, options.tell_s, say))
    return any(told)


def _name(found: Found) -> str:
    return f"{_TOLD}/{digest([found.station, found.code], 32)}.json"


def _told_lately(place: Place, found: Found, options: WatchOptions) -> bool:
    """Whether it was told, at no lower severity, within the last days; a clock set back since counts as never."""
    try:
        body = json.loads(place.read(_name(found)))
        since_s = time.time() - float(body["time_s"])
        milder = SEVERITIES.index(body["severity"]) < [*SEVERITIES, found.severity].index(found.severity)
    except (OSError, ValueError, KeyError, TypeError):
        return False
    return 0.0 <= since_s < options.tell_again_days * _DAY_S and not milder


def _note_told(place: Place, found: Found) -> None:
    body = {
        "schema": "tracekit.alarmed/1", "station": found.station, "code": found.code, "severity": found.severity,
        "time_s": int(time.time()),
    }  # fmt: skip
    place.put(_name(found), json.dumps(body).encode())


def _run(command: tuple[str, ...], notice: Notice, limit_s: float, say: Say) -> bool:
    """Run the user's command: no shell, its facts in the environment, a time limit. True where it ended well."""
    file = notice.file
    stations = {*(f.station for f in notice.findings), *(_text(a["station"]) for a in notice.alarms if "station" in a)}
    groups = {_text(a["supply_group"]) for a in notice.alarms if "supply_group" in a}
    given = {
        "TRACEKIT_LOG": file, "TRACEKIT_SEVERITY": notice.severity, "TRACEKIT_PAGE": notice.page,
        "TRACEKIT_STATIONS": "; ".join(sorted(stations)), "TRACEKIT_SUPPLY_GROUPS": "; ".join(sorted(groups)),
        "TRACEKIT_FINDINGS": " ".join(dict.fromkeys(f.code for f in notice.findings)),
        "TRACEKIT_ALARMS": " ".join(dict.fromkeys(str(a["measure"]) for a in notice.alarms)),
    }  # fmt: skip
    env = {name: value for name, value in os.environ.items() if name != WEBHOOK_VARIABLE}
    try:
        ended = subprocess.run(  # noqa: S603 - the command is the user's own, given on the command line
            command, env={**env, **given}, timeout=limit_s, check=False,
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        say("command_too_slow", {"file": file, "seconds": limit_s})
    except (OSError, ValueError) as error:
        say("command_failed", {"file": file, "why": getattr(error, "strerror", None) or type(error).__name__})
    else:
        say("command_ran", {"file": file, "status": ended.returncode})
        return ended.returncode == 0
    return False


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """An address that points elsewhere is not followed: the user named one host."""

    def redirect_request(
        self, req: urllib.request.Request, fp: IO[bytes], code: int, msg: str, headers: Message, newurl: str
    ) -> None:
        """Refuse."""


def _post(webhook: str, notice: Notice, limit_s: float, say: Say) -> bool:
    """Post findings and alarms as JSON. True where the other side answered with a status of success."""
    file = notice.file
    body = {
        "schema": "tracekit.alarm/1", "log": file, "page": notice.page, "severity": notice.severity,
        "findings": [
            {"station": f.station, "code": f.code, "severity": f.severity, "title": f.title, "confidence": f.confidence}
            for f in notice.findings
        ],
        "alarms": [dict(alarm) for alarm in notice.alarms],
    }  # fmt: skip
    said: list[tuple[int, str]] = []
    data = json.dumps(body, ensure_ascii=False).encode("utf-8", "replace")
    sender = threading.Thread(target=lambda: said.append(_posted(webhook, data, limit_s)), daemon=True)
    sender.start()
    sender.join(limit_s)
    about = {"file": file, "to": urllib.parse.urlsplit(webhook).hostname or ""}
    if not said or said[0][1] == TimeoutError.__name__:
        say("webhook_too_slow", {**about, "seconds": limit_s})
        return False
    status, why = said[0]
    if why:
        say("webhook_failed", {**about, "why": why})
    else:
        say("webhook_answered", {**about, "status": status})
    return not why and 200 <= status < 300


def _posted(webhook: str, data: bytes, limit_s: float) -> tuple[int, str]:
    """Status of the answer, or 0 and why there is none; never a text that the other side or a library made."""
    request = urllib.request.Request(webhook, data=data, method="POST")  # noqa: S310 - checked: http or https
    request.add_header("Content-Type", "application/json")
    request.add_header("User-Agent", "tracekit")
    try:
        with urllib.request.build_opener(_NoRedirect).open(request, timeout=limit_s) as answer:
            return int(answer.status), ""
    except urllib.error.HTTPError as error:
        with error:
            return error.code, ""
    except urllib.error.URLError as error:
        return 0, type(error.reason).__name__ if isinstance(error.reason, Exception) else "no connection"
    except (OSError, http.client.HTTPException, ValueError) as error:
        return 0, type(error).__name__
