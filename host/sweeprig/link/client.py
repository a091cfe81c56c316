"""The host's side of a rig: identify it, send commands, stream. One client owns one port and is used by one thread."""

from __future__ import annotations

import json
import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from sweepboard import wire
from sweeprig.errors import BoardRefusedError, BoardSilentError
from sweeprig.link import identification
from sweeprig.link.decoder import Counts, Decoder
from sweeprig.link.messages import BoardText, Hello, Message, Records, Reply, Status
from sweeprig.link.transport import Transport

HELLO_TIMEOUT_S = 3.0  # a board needs about a second to boot
HELLO_AGAIN_S = 1.0  # a hello sent while the board booted is lost
REPLY_TIMEOUT_S = 2.0
_SLICE_S = 0.05  # longest wait before the client looks whether it has to speak up
_TEXT_AFTER_S = 0.2  # silence after which text without a line end is a prompt
_MOST_LINES = 1000  # of the board's text that are remembered

BytesHook = Callable[[bytes], None]


class RigClient:
    """Talks to one rig. `clock` [s, monotonic] serves time-outs and the keep-alive message, never the data.

    Time-outs are multiplied by `patience`: a simulated board is as slow as the computer that it runs on.
    `on_bytes`, where set, gets every byte that the board sends, before it is decoded.
    """

    def __init__(
        self, transport: Transport, *, clock: Callable[[], float] = time.monotonic, patience: float = 1.0
    ) -> None:
        self.on_bytes: BytesHook | None = None
        self.board_text: list[str] = []
        self.patience = patience
        self._transport = transport
        self._clock = clock
        self._decoder = Decoder()
        self._waiting: deque[Message] = deque()
        self._hello: Mapping[str, Any] | None = None
        self._sequence = 0
        self._command_id = 0
        self._streaming = False
        self._spoke = float("-inf")
        self._spoke_index = 0
        self._alive_windows = 0
        self._heard = clock()

    @property
    def name(self) -> str:
        """The port."""
        return self._transport.name

    @property
    def counts(self) -> Counts:
        """What the decoder has counted since the port was opened."""
        return self._decoder.counts

    @property
    def window_s(self) -> float:
        """Length of one window [s], from the rig's own hello."""
        rig = self.hello()
        return float(rig["window"] * rig["channels"] / rig["conversion_hz"])

    # --- identification and commands

    def hello(self, *, again: bool = False, timeout_s: float = HELLO_TIMEOUT_S) -> Mapping[str, Any]:
        """Return the rig's description of itself; asked for once, then remembered, with `again` asked for again.

        Raises BoardSilentError, NoFirmwareError, ProtocolVersionError.
        """
        if self._hello is not None and not again:
            return self._hello
        heard: list[Message] = []
        n_before = self.counts.n_bytes
        deadline = self._clock() + timeout_s * self.patience
        while (now := self._clock()) < deadline:
            self._send_command("hello", {})
            self._collect_until(Hello, heard, min(now + HELLO_AGAIN_S, deadline))
            found = next((m for m in heard if isinstance(m, Hello)), None)
            if found is not None or identification.is_hopeless(heard):
                break
        self._hello = identification.accept(
            heard, self._transport.name, n_bytes=self.counts.n_bytes - n_before
        )
        self._alive_windows = int(wire.ALIVE_EVERY_MS / 1000 / self.window_s)
        return self._hello

    def command(self, cmd: str, *, timeout_s: float = REPLY_TIMEOUT_S, **args: Any) -> dict[str, Any]:
        """Send one command and return the keys of its reply.

        Raises BoardRefusedError with the board's reason, BoardSilentError where no reply comes.
        """
        number = self._send_command(cmd, args)
        timeout_s *= self.patience
        deadline = self._clock() + timeout_s
        while self._clock() < deadline:
            messages = self._take(deadline)
            reply = next((m for m in messages if isinstance(m, Reply) and m.command_id == number), None)
            self._waiting.extend(m for m in messages if m is not reply)  # those after the reply as well
            if reply is not None:
                return _accepted(cmd, reply)
        raise BoardSilentError(
            f"The rig does not answer the command {cmd}.",
            seen=f"no answer within {timeout_s:.1f} s",
            next_step="plug the rig in again; if it happens again: sweeprig install",
        )

    def start(self, hookup: str = "powered") -> dict[str, Any]:
        """Start a stream at record index 0. Records of an earlier stream are dropped."""
        self.quiet()
        self._decoder.restart_index()
        self._spoke_index = 0
        reply = self.command("start", hookup=str(hookup))
        self._streaming = True
        return reply

    def quiet(self) -> None:
        """Stop a stream that an earlier program left running, and drop what it sent."""
        if self._streaming:
            self.stop()
        self._waiting = deque(e for e in self._waiting if not isinstance(e, Records))

    def stop(self) -> dict[str, Any]:
        """Stop streaming; return the board's own counts."""
        reply = self.command("stop")
        self._streaming = False
        return reply

    def status(self) -> Status:
        """Ask for the board's own counts and return them."""
        self.command("status")
        found = [e for e in self._waiting if isinstance(e, Status)]
        if not found:
            raise BoardSilentError(
                "The rig's status has no counts.", next_step="install the firmware again: sweeprig install"
            )
        self._waiting.remove(found[-1])
        return found[-1]

    # --- streaming

    def poll(self, timeout_s: float) -> list[Message]:
        """Return the messages that have come, waiting at most `timeout_s` [s] for the first; [] where none came.

        Raises PortLostError where the board is gone.
        """
        if self._waiting:
            messages = list(self._waiting)
            self._waiting.clear()
            return messages
        return self._take(self._clock() + timeout_s)

    def rest(self, seconds: float) -> None:
        """Wait, keep-alive messages sent so that the rig leaves its supply on; what comes is kept for poll()."""
        deadline = self._clock() + seconds
        while self._clock() < deadline:
            self._waiting.extend(self._take(deadline))

    def close(self) -> None:
        """Close the port. The board stops by itself when it hears nothing more."""
        self._transport.close()

    # --- inside

    def _take(self, deadline: float) -> list[Message]:
        while True:
            self._keep_alive()
            left = deadline - self._clock()
            data = self._transport.read(max(0.0, min(left, _SLICE_S)))
            messages = self._digest(data) if data else self._late_text()
            if messages or left <= 0:
                return messages

    def _digest(self, data: bytes) -> list[Message]:
        self._heard = self._clock()
        if self.on_bytes is not None:
            self.on_bytes(data)
        return self._note(self._decoder.feed(data))

    def _late_text(self) -> list[Message]:
        if self._clock() - self._heard < _TEXT_AFTER_S:
            return []
        return self._note(self._decoder.flush_text())

    def _note(self, messages: list[Message]) -> list[Message]:
        for message in messages:
            if isinstance(message, BoardText):
                self.board_text.append(message.line)
                del self.board_text[:-_MOST_LINES]
            elif isinstance(message, Records):
                self._streaming = True
                self._keep_alive(int(message.index[-1]))
        return messages

    def _keep_alive(self, index: int | None = None) -> None:
        """Send ALIVE if it is due, by the host's clock or by the board's time, whichever is first."""
        if self._hello is None:
            return
        now = self._clock()
        due = now - self._spoke >= wire.ALIVE_EVERY_MS / 1000
        if index is not None:
            due = due or abs(index - self._spoke_index) >= self._alive_windows
            self._spoke_index = index if due else self._spoke_index
        if due:
            self._send(wire.ALIVE, b"")

    def _send_command(self, cmd: str, args: Mapping[str, Any]) -> int:
        self._command_id += 1
        body = {"id": self._command_id, "cmd": cmd, **args}
        self._send(wire.COMMAND, json.dumps(body, separators=(",", ":")).encode())
        return self._command_id

    def _send(self, kind: int, payload: bytes) -> None:
        self._spoke = self._clock()
        self._transport.write(wire.encode(kind, self._sequence, 0, payload))
        self._sequence = (self._sequence + 1) & 0xFFFF

    def _collect_until(self, kind: type[Message], heard: list[Message], deadline: float) -> None:
        """Collect messages in `heard` until one of `kind` comes, none can come any more, or `deadline` is past."""
        while self._clock() < deadline:
            messages = self._take(deadline)
            heard[:] = identification.worth_keeping(heard + messages)
            if any(isinstance(m, kind) for m in messages) or identification.is_hopeless(heard):
                return


PLUG_IN_AGAIN = "plug the rig in again and repeat; if it happens again: sweeprig install"


def no_records(seen: str = "") -> BoardSilentError:
    """Return the error for a rig that sends no records."""
    return BoardSilentError("The rig sends no records.", seen=seen, next_step=PLUG_IN_AGAIN)


def _accepted(cmd: str, reply: Reply) -> dict[str, Any]:
    data = dict(reply.data)
    if reply.ok:
        return data
    raise BoardRefusedError(
        f"The rig refuses the command {cmd}: {data.get('reason') or 'no reason given'}.",
        seen=str(data.get("error", "unknown")),
        next_step=_AFTER_REFUSAL.get(str(data.get("error")), "see docs/reference/wire.md for what it means"),
    )


_AFTER_REFUSAL = {
    "unknown-command": "the firmware is older than this program: sweeprig install",
    "not-fitted": "this build of the rig does not have it; `sweeprig rigs --self-test` lists what it has",
    "busy": "wait for the running task to end, then try again",
    "not-now": "stop the stream first, then try again",
}
