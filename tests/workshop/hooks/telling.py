"""What the tests of hooks say again and again."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import heavyspot
from heavyspot.quantities.clock import time_of, utc_text
from heavyspot.workshop.hooks.running import PAUSES_S, Telling

QUICK: Any = {"run_up_s": 2.0, "sample_rate_hz": 25_600}
SOON = (0.0,) * len(PAUSES_S)


def spin(shop, recording, serial="H-1"):
    return heavyspot.spin(shop, serial, recording, operator="Ines")


def rounds(shop, times=1, pauses=SOON):
    telling = Telling(shop, pauses_s=pauses)
    for _ in range(times):
        telling.round()


def later(text, seconds):
    return utc_text(time_of(text) + timedelta(seconds=seconds))
