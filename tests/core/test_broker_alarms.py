"""What of the way to the plant needs a person."""

from __future__ import annotations

from dataclasses import replace

from logger.core.broker_alarms import broker_alarms
from logger.core.snapshot import BrokerView

UP = BrokerView(state="up", text="fine", waiting=0, set_aside=0, last_ack_age_s=1.0, insecure=False)


def test_a_good_link_and_an_outage_raise_nothing() -> None:
    assert broker_alarms(UP) == ()
    assert broker_alarms(replace(UP, state="down", waiting=900)) == ()


def test_a_refusal_is_shown_in_its_own_words() -> None:
    (alarm,) = broker_alarms(replace(UP, state="refused", text="Refused by broker: why."))
    assert (alarm.key, alarm.text) == ("broker-refused", "Refused by broker: why.")


def test_a_message_set_aside_is_shown_beside_a_refusal() -> None:
    keys = [alarm.key for alarm in broker_alarms(replace(UP, state="refused", set_aside=1))]
    assert keys == ["broker-refused", "broker-set-aside"]
