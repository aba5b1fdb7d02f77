"""A headless Chromium for the tests of the page, spoken to in its own debugging protocol over a pipe.

Two descriptors carry JSON messages that end with a zero byte (Chrome DevTools Protocol,
``--remote-debugging-pipe``), so no driver and no further library is needed.
"""

import base64
import contextlib
import json
import os
import select
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

PATIENCE_S = 30.0
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--mute-audio"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--disable-default-apps", "--disable-extensions", "--hide-scrollbars", "--disable-dev-shm-usage"),
)


def binary() -> str | None:
    """The browser's program, None where there is none."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


class Page:
    """One tab."""

    def __init__(self, to_browser: int, from_browser: int) -> None:
        self._to, self._from = to_browser, from_browser
        self._unread = b""
        self._number = 0
        self._session: str | None = None
        self.complaints: list[str] = []
        """What the browser's console was told: errors, and everything that the policy has refused."""
        target = self._ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self._ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Accessibility", "Network"):
            self._ask(f"{domain}.enable")

    def open(self, address: str, width: int = 1280, height: int = 900, is_dark: bool = False) -> None:
        """Go there and wait until the page and all its parts have loaded."""
        self.resize(width, height)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if is_dark else "light"}
        self._ask("Emulation.setEmulatedMedia", features=[scheme])
        self._ask("Page.navigate", url=address)
        self.wait_for("document.readyState === 'complete'")

    def resize(self, width: int, height: int) -> None:
        self._ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=width < 600,
        )

    def run(self, expression: str) -> Any:
        """The value of a JavaScript expression. Raises AssertionError for one that fails."""
        answer = self._ask(
            "Runtime.evaluate",
            expression=expression,
            returnByValue=True,
            awaitPromise=True,
            allowUnsafeEvalBlockedByCSP=False,
        )
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def wait_for(self, expression: str) -> None:
        """Wait until the expression is true. Raises AssertionError if that takes too long."""
        until_s = time.monotonic() + PATIENCE_S
        while not self.run(expression):
            assert time.monotonic() < until_s, f"never came true: {expression}; {self.complaints}"
            time.sleep(0.02)

    def press(self, key: str, code: int) -> None:
        """A key of the keyboard, down and up."""
        for kind in ("keyDown", "keyUp"):
            self._ask("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code)

    def picture(self, file: Path, is_whole: bool = True) -> None:
        """Save what is shown as a PNG, the whole page or the window."""
        taken = self._ask("Page.captureScreenshot", format="png", captureBeyondViewport=is_whole)
        file.write_bytes(base64.b64decode(taken["data"]))

    def accessible(self) -> list[tuple[str, str]]:
        """Role and name of everything that a screen reader meets."""
        nodes = self._ask("Accessibility.getFullAXTree")["nodes"]
        return [
            (node["role"]["value"], node.get("name", {}).get("value", "")) for node in nodes if "role" in node
        ]

    def _ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._read()
            if answer.get("id") == self._number:
                assert "error" not in answer, f"{method}: {answer['error']}"
                return dict(answer["result"])
            self._note(answer)

    def _note(self, event: dict[str, Any]) -> None:
        told = event.get("params", {})
        if event.get("method") == "Log.entryAdded":
            self.complaints.append(f"{told['entry']['text']} {told['entry'].get('url', '')}")
        elif event.get("method") == "Runtime.exceptionThrown":
            details = told["exceptionDetails"]
            self.complaints.append(details.get("exception", {}).get("description", details["text"]))

    def _read(self) -> dict[str, Any]:
        until_s = time.monotonic() + PATIENCE_S
        while b"\0" not in self._unread:
            ready, _, _ = select.select([self._from], [], [], max(0.0, until_s - time.monotonic()))
            assert ready, "the browser does not answer"
            piece = os.read(self._from, 1 << 20)
            assert piece, "the browser has ended"
            self._unread += piece
        text, _, self._unread = self._unread.partition(b"\0")
        return dict(json.loads(text))


@contextlib.contextmanager
def browser(profile: Path) -> Iterator[Page]:
    """A browser with one tab; ``profile`` is a folder of its own, which it may fill."""
    program = binary()
    assert program is not None, "there is no chromium"
    read_end, to_browser = os.pipe()
    from_browser, write_end = os.pipe()

    def give_descriptors() -> None:
        # 3 and 4 are where the browser looks; what is in the way is moved out of it first
        into, out = os.dup(read_end), os.dup(write_end)
        os.dup2(into, 3)
        os.dup2(out, 4)

    process = subprocess.Popen(
        [program, *FLAGS, "--remote-debugging-pipe", f"--user-data-dir={profile}"],
        preexec_fn=give_descriptors,
        pass_fds=(read_end, write_end, 3, 4),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(read_end)
    os.close(write_end)
    try:
        yield Page(to_browser, from_browser)
    finally:
        process.terminate()
        process.wait(PATIENCE_S)
        os.close(to_browser)
        os.close(from_browser)
