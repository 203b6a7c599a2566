"""Runs a program of the owner's within bounds: so long and no longer, so many words of its and no more, and nothing left behind."""
import os
import selectors
import signal
import subprocess
import time
from collections.abc import Sequence
from contextlib import suppress
from typing import IO

#: Of what a program complains so many bytes are kept, the latest; the rest is read and forgotten (choice: some fifty lines).
KEPT_BYTES = 4096
#: Between the word to end and the end [s] (choice: time to close a connection).
GRACE_S = 1.0
#: Between two looks at whether it has ended [s] (choice: nobody notices a twentieth of a second).
LOOK_S = 0.05


class TooLong(Exception):
    """It did not end within its time, and was ended with all that it had started."""


def run_bounded(arguments: Sequence[str], text: str, timeout_s: float) -> tuple[int, str]:
    """Runs a program in a process group of its own, with text on its standard input; returns its exit code and last complaint.

    When it has ended, or its time is over, whatever is left of its group is ended too. What it prints is not read;
    what it complains (standard error) is bounded.

    arguments: program and its arguments; text: for its standard input; timeout_s: how long it may take [s].

    Raises
    ------
    OSError : it cannot be started
    TooLong : it did not end in time
    """
    until_s = time.monotonic() + timeout_s
    process = subprocess.Popen(arguments, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, start_new_session=True)
    try:
        complained = _communicate(process, text.encode(), until_s)
        if not _has_ended(process):
            raise TooLong
    finally:
        _end_group(process)
    return process.returncode, complained


def _communicate(process: subprocess.Popen[bytes], text: bytes, until_s: float) -> str:
    """Feeds it and listens until it ends or its time is over; returns the last line of what it complained."""
    assert process.stdin is not None and process.stderr is not None  # as they were asked for
    kept = b""
    with selectors.DefaultSelector() as selector:
        for pipe, event in ((process.stdin, selectors.EVENT_WRITE), (process.stderr, selectors.EVENT_READ)):
            os.set_blocking(pipe.fileno(), False)
            selector.register(pipe, event)
        while (left_s := until_s - time.monotonic()) > 0:
            ended = _has_ended(process)
            for key, _ in selector.select(0 if ended else min(LOOK_S, left_s)):
                if key.fileobj is process.stdin:
                    text = _feed(process.stdin, text)
                    if not text:
                        selector.unregister(process.stdin)
                        with suppress(OSError):
                            process.stdin.close()
                elif came := process.stderr.read(65536):
                    kept = (kept + came)[-KEPT_BYTES:]
                else:
                    selector.unregister(process.stderr)
            if ended:
                break
            if not selector.get_map():
                time.sleep(min(LOOK_S, left_s))
    lines = kept.decode(errors="replace").strip().splitlines()
    return lines[-1] if lines else ""


def _feed(pipe: IO[bytes], text: bytes) -> bytes:
    """What is left of the text; nothing where it is not wanted."""
    try:
        return text[os.write(pipe.fileno(), text):]
    except BlockingIOError:
        return text
    except OSError:
        return b""


def _has_ended(process: subprocess.Popen[bytes]) -> bool:
    """Whether it has ended; it is not reaped by this, so that the number of its group is not another's yet."""
    if process.returncode is not None:
        return True
    with suppress(ChildProcessError):
        return os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOWAIT | os.WNOHANG) is not None
    return True


def _end_group(process: subprocess.Popen[bytes]) -> None:
    """Ends what is left of its group: asks first, where it still runs itself."""
    if process.returncode is None and not _has_ended(process):
        with suppress(OSError):
            os.killpg(process.pid, signal.SIGTERM)
        until_s = time.monotonic() + GRACE_S
        while not _has_ended(process) and time.monotonic() < until_s:
            time.sleep(LOOK_S)
    with suppress(OSError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    for pipe in (process.stdin, process.stderr):
        if pipe is not None:
            with suppress(OSError):
                pipe.close()
