"""Being stopped from outside: by hand, by the system, by a terminal that closes. Heard once, and then an end of it."""

import os
import signal
import sys

SAID_OF = {"SIGINT": "stopped by hand", "SIGTERM": "stopped by the system", "SIGHUP": "the terminal was closed"}


class Stopped(KeyboardInterrupt):
    """One of the signals of SAID_OF; what was going on is let go as for Ctrl-C."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


def heed() -> None:
    """Raise Stopped in the main thread at the first signal; all further ones are ignored while it ends."""
    known = [getattr(signal, name) for name in SAID_OF if hasattr(signal, name)]

    def stop(number: int, frame: object) -> None:
        for other in known:
            signal.signal(other, signal.SIG_IGN)
        raise Stopped(number)

    for number in known:
        if signal.getsignal(number) is not signal.SIG_IGN:  # as nohup leaves it
            signal.signal(number, stop)


def stopped_words(stop: KeyboardInterrupt) -> tuple[str, int]:
    """(what happened, exit status as a shell gives it)."""
    number = stop.number if isinstance(stop, Stopped) else signal.SIGINT
    return SAID_OF[signal.Signals(number).name], 128 + number


def leave(status: int) -> None:
    """Exit; at once where it was stopped, whatever threads of libraries still wait for."""
    if status > 128:
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except OSError:  # nobody reads it any more
                pass
        os._exit(status)
    sys.exit(status)
