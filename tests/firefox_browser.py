"""A Firefox without a window, driven over the Marionette protocol that the browser brings along: JSON over a socket.

Source of the protocol: https://firefox-source-docs.mozilla.org/testing/marionette/Protocol.html
"""

import json
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

_START_S, _ANSWER_S = 60.0, 60.0
_PREFERENCES = {
    "marionette.port": 0,
    "network.proxy.type": 1, "network.proxy.http": "127.0.0.1", "network.proxy.http_port": 9,
    "network.proxy.ssl": "127.0.0.1", "network.proxy.ssl_port": 9,
    "app.update.enabled": False, "datareporting.policy.dataSubmissionEnabled": False,
    "toolkit.telemetry.enabled": False, "browser.shell.checkDefaultBrowser": False,
    "layout.css.prefers-color-scheme.content-override": 1,
}  # fmt: skip
"""No network: everything goes to a port where nobody listens."""
_ERRORS = """return Services.console.getMessageArray().filter(
  m => m instanceof Ci.nsIScriptError && /content javascript|Content Security Policy|CSP/.test(m.category) &&
  !(m.flags & Ci.nsIScriptError.warningFlag)).map(m => m.errorMessage + ' @ ' + m.sourceName)"""


class Firefox:
    """One browser with a profile of its own; `preferences` are set before it starts."""

    def __init__(self, program: str, profile: Path, preferences: dict[str, Any]) -> None:
        """Start the browser and open a session."""
        lines = [f"user_pref({json.dumps(k)}, {json.dumps(v)});" for k, v in (_PREFERENCES | preferences).items()]
        (profile / "user.js").write_text("\n".join(lines), encoding="utf-8")
        command = [program, "--headless", "--marionette", "--remote-allow-system-access", "--no-remote", "--profile", str(profile)]
        with (profile / "log").open("wb") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log)
        self._socket = socket.create_connection(("127.0.0.1", self._port(profile)), timeout=_ANSWER_S)
        self._rest = b""
        self._count = 0
        self._message()  # what the browser says of itself
        self.send("WebDriver:NewSession", {})

    def _port(self, profile: Path) -> int:
        """The port that the browser has chosen and noted in its profile."""
        note, until = profile / "MarionetteActivePort", time.monotonic() + _START_S
        while time.monotonic() < until:
            if note.exists() and note.read_text().strip():
                return int(note.read_text())
            time.sleep(0.1)
        raise TimeoutError(f"no port: {(profile / 'log').read_text(errors='replace')[-500:]}")

    def _message(self) -> Any:
        """The next message: its length in bytes, a colon, JSON."""
        while b":" not in self._rest:
            self._rest += self._read()
        length, _, self._rest = self._rest.partition(b":")
        while len(self._rest) < int(length):
            self._rest += self._read()
        body, self._rest = self._rest[: int(length)], self._rest[int(length) :]
        return json.loads(body)

    def _read(self) -> bytes:
        piece = self._socket.recv(1 << 16)
        if not piece:
            raise ConnectionError("the browser has gone")
        return piece

    def send(self, command: str, values: dict[str, Any]) -> Any:
        """Have a command carried out; gives its value. Raises AssertionError with what the browser says against it."""
        self._count += 1
        body = json.dumps([0, self._count, command, values]).encode()
        self._socket.sendall(f"{len(body)}:".encode() + body)
        _, _, error, result = self._message()
        assert error is None, error
        return result.get("value") if isinstance(result, dict) and "value" in result else result

    def run(self, script: str, *values: Any) -> Any:
        """What a function body gives in the page."""
        return self.send("WebDriver:ExecuteScript", {"script": script, "args": list(values)})

    def errors(self) -> list[str]:
        """What the console says of pages that failed: uncaught errors and what their policy forbade; then it is emptied."""
        self.send("Marionette:SetContext", {"value": "chrome"})
        found = self.run(_ERRORS)
        self.run("Services.console.reset()")
        self.send("Marionette:SetContext", {"value": "content"})
        assert isinstance(found, list)
        return found

    def open(self, address: str, *, width: int = 1280, height: int = 900, ready: bool = True) -> None:
        """Open an address in a window of a size; with `ready`, wait until the page's script has done its work."""
        self.send("WebDriver:SetWindowRect", {"width": width, "height": height})
        self.send("WebDriver:Navigate", {"url": address})
        until = time.monotonic() + _ANSWER_S
        while ready and not self.run("return document.documentElement.hasAttribute('data-ready')"):
            assert time.monotonic() < until, "the page does not become ready"
            time.sleep(0.05)

    def press(self, css: str) -> None:
        """Click the first element that a selector names, where a reader would, once the page is laid out that far."""
        found = self.send("WebDriver:FindElement", {"using": "css selector", "value": css})
        until = time.monotonic() + _ANSWER_S
        while True:
            try:
                self.send("WebDriver:ElementClick", {"id": next(iter(found.values()))})
            except AssertionError as refused:
                if "scrolled into view" not in str(refused) or time.monotonic() > until:
                    raise
                time.sleep(0.1)
            else:
                return

    def close(self) -> None:
        """End the browser."""
        self._socket.close()
        self._process.terminate()
        self._process.wait(timeout=20)
