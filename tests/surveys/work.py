"""Work that workers can import."""

import os
import signal
import time
from pathlib import Path


def square(number):
    return number * number


def slow_square(number):
    time.sleep(0.05)
    return number * number


def deadly_once(item):
    """Kills its worker the first time it is done."""
    number, mark = item
    path = Path(mark)
    if number == 3 and not path.exists():
        path.write_text("dead", encoding="utf-8")
        os.kill(os.getpid(), signal.SIGTERM if os.name == "nt" else signal.SIGKILL)
    return number * number


def deadly(number):
    if number == 3:
        os._exit(9)
    return number


def wrong(number):
    raise ValueError(f"wrong {number}")
