"""``python -m calib`` and the console script: the command line, which may be interrupted at any moment."""

from __future__ import annotations

import os
import signal
import sys

INTERRUPTED = 130


def run() -> int:
    """Run the command line; an interruption while it is still being loaded is told as any other is."""
    try:
        from calib.cli.main import main

        status = main()
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # what was done is told: nothing is left to interrupt
        return status
    except KeyboardInterrupt:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        sys.stderr.write("calib: interrupted; nothing was written\n")
        return INTERRUPTED


def script() -> None:
    """The same, and out: what an interruption left half loaded is not taken down piece by piece."""
    status = run()
    if status == INTERRUPTED:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)
    sys.exit(status)


if __name__ == "__main__":
    script()
