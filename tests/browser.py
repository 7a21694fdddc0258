"""A headless Chromium, spoken to through its own DevTools protocol; the network is cut off by its resolver."""

from __future__ import annotations

import base64
import json
import os
import subprocess
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Any

import websocket

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--hide-scrollbars",
    "--remote-debugging-port=0", "--remote-allow-origins=*", "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip
START_S = 30.0
ANSWER_S = 60.0


class Browser:
    """One browser with one page; collects what the page complains about and what it asks for."""

    def __init__(self, program: Path, folder: Path, *, width: int = 1280, height: int = 800) -> None:
        self.folder = folder
        profile = Path(tempfile.mkdtemp(prefix="profile-", dir=folder))
        self._process = subprocess.Popen(
            [program, *FLAGS, f"--user-data-dir={profile}", f"--window-size={width},{height}", "about:blank"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "HOME": str(folder)},
        )
        self._socket: websocket.WebSocket | None = None
        self._last = 0
        self.complaints: list[str] = []
        self.requests: list[str] = []
        try:
            self._connect(profile / "DevToolsActivePort")
        except BaseException:
            self.close()
            raise
        self.size(width, height)

    def __enter__(self) -> Browser:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _connect(self, port_file: Path) -> None:
        end = time.monotonic() + START_S
        while time.monotonic() < end:
            lines = port_file.read_text().splitlines() if port_file.exists() else []
            if len(lines) == 2:
                break
            time.sleep(0.05)
        else:
            raise TimeoutError("the browser did not start")
        self._socket = websocket.create_connection(f"ws://127.0.0.1:{lines[0]}{lines[1]}", timeout=ANSWER_S)
        self._session: str | None = None
        pages = [target for target in self.call("Target.getTargets")["targetInfos"] if target["type"] == "page"]
        target = pages[0]["targetId"] if pages else self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """Send one command and return its result; events that come meanwhile are noted."""
        self._last += 1
        message = {"id": self._last, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        self._socket.send(json.dumps(message))
        while True:
            answer = json.loads(self._socket.recv())
            if answer.get("id") == self._last:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']['message']}")
                return answer["result"]
            self._note(answer)

    def _note(self, event: dict[str, Any]) -> None:
        method, params = event.get("method"), event.get("params", {})
        if method == "Runtime.exceptionThrown":
            self.complaints.append(json.dumps(params["exceptionDetails"])[:500])
        elif method == "Runtime.consoleAPICalled" and params["type"] in {"error", "warning", "assert"}:
            self.complaints.append(json.dumps(params["args"])[:500])
        elif method == "Log.entryAdded" and params["entry"]["level"] in {"error", "warning"}:
            self.complaints.append(params["entry"]["text"])
        elif method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Page.javascriptDialogOpening":
            self.complaints.append(f"dialog: {params['message']}")
            raise AssertionError(f"the page opened a dialog: {params['message']}")

    def size(self, width: int, height: int) -> None:
        """Set the size of the window."""
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)

    def open(self, page: Path) -> None:
        """Open a local file and wait until its plants are drawn."""
        self.call("Page.navigate", url=page.as_uri())
        self.wait("document.readyState === 'complete' && !!window.spreadmapReview")
        self.run("spreadmapReview.plants ? spreadmapReview.plants.ready : null")

    def run(self, script: str) -> Any:
        """Return the value of an expression in the page; a promise is waited for."""
        answer = self.call("Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True)
        if "exceptionDetails" in answer:
            raise AssertionError(json.dumps(answer["exceptionDetails"])[:800])
        return answer["result"].get("value")

    def do(self, script: str) -> None:
        """Run statements in the page whose value does not matter."""
        self.run(f"{script}; undefined")

    def press(self, key: str, code: int, text: str = "") -> None:
        """Press and release a key."""
        for kind in ("keyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code, text=text)

    def wait(self, condition: str, seconds: float = 20.0) -> None:
        """Wait until an expression is true."""
        end = time.monotonic() + seconds
        while not self.run(condition):
            if time.monotonic() > end:
                raise TimeoutError(condition)
            time.sleep(0.05)

    def click(self, x: float, y: float) -> None:
        """Click at a point of the window, as a mouse does."""
        for kind in ("mouseMoved", "mousePressed", "mouseReleased"):
            count = 0 if kind == "mouseMoved" else 1
            button = "none" if kind == "mouseMoved" else "left"
            self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, button=button, clickCount=count)

    def picture(self, name: str) -> Path:
        """Save what the window shows and return where."""
        path = self.folder / name
        path.write_bytes(base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"]))
        return path

    def pdf(self, name: str) -> Path:
        """Print the page and return where."""
        path = self.folder / name
        answer = self.call(
            "Page.printToPDF", printBackground=True, preferCSSPageSize=True, paperWidth=8.27, paperHeight=11.69
        )
        path.write_bytes(base64.b64decode(answer["data"]))
        return path

    def close(self) -> None:
        """End the browser that this object started."""
        if self._socket is not None:
            self._socket.close()
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(10)
