"""What the log says of alarms that are over."""

from __future__ import annotations

import inspect
import re

from logger.core.run import alarms
from logger.core.run.events import EventKind as E
from logger.core.run.words import ALARM_NAMES, event_text


def test_every_alarm_of_a_run_has_a_name_for_people() -> None:
    keys = set(re.findall(r'set_alarm\(\s*now_ns,\s*"([a-z-]+)"', inspect.getsource(alarms)))
    assert len(keys) > 10
    assert keys == set(ALARM_NAMES)


def test_a_cleared_alarm_is_told_in_words_and_one_of_another_version_by_its_key() -> None:
    assert event_text(E.ALARM_CLEARED, {"key": "held-jet"}) == "Cleared: suction on while held."
    assert event_text(E.ALARM_CLEARED, {"key": "of-old"}) == "Cleared: of-old."
