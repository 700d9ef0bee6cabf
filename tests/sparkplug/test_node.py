"""The edge node's numbers and messages, read by protobuf. Rules: ISO/IEC 20237 (Sparkplug 3.0), read second-hand
in the requirement texts of its conformance tests."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.publish.payloads import latest_body
from logger.publish.schemas import schema
from logger.sparkplug.metrics import DEVICE_METRICS, NODE_METRICS
from logger.sparkplug.node import EdgeNode, HostWatch, Names, Sent, next_bdseq
from tests.publish.samples import LIVE, record
from tests.sparkplug.decoders import REBIRTH_COMMAND, command, decoded, decoded_by_npm, values

NAMES = Names("lab", "a1")
NCMD = "spBv1.0/lab/NCMD/a1"
ALIAS = {known.name: known.alias for known in (*NODE_METRICS, *DEVICE_METRICS)}
FLAT = latest_body(record().body()) | {"seq": 7}


def node(bdseq: int = 3) -> EdgeNode:
    made = EdgeNode(NAMES, "lastgrain 0.1.0")
    made.death(bdseq, 1000)
    return made


def seqs(sent: list[Sent]) -> list[int]:
    return [decoded(message.payload).seq for message in sent]


def test_the_death_has_only_the_number_of_the_birth() -> None:
    subject = node()
    death = subject.death(3, 1000)
    assert death.topic == "spBv1.0/lab/NDEATH/a1"
    assert values(death.payload) == {"bdSeq": 3}
    assert not decoded(death.payload).HasField("seq")
    assert values(subject.birth(2000)[0].payload)["bdSeq"] == 3


def test_births_name_every_metric_with_alias_type_value_and_unit() -> None:
    subject = node()
    subject.live(1500, LIVE)
    births = subject.birth(2000)
    assert [birth.topic for birth in births] == ["spBv1.0/lab/NBIRTH/a1", "spBv1.0/lab/DBIRTH/a1/rig"]
    assert seqs(births) == [0, 1]
    first, second = (decoded(birth.payload) for birth in births)
    rebirth = first.metrics[1]
    assert (rebirth.name, rebirth.datatype, rebirth.boolean_value) == ("Node Control/Rebirth", 11, False)
    assert not rebirth.HasField("alias")
    assert first.metrics[0].datatype == 4
    found = {metric.name: metric for metric in (*first.metrics[2:], *second.metrics)}
    assert {name: metric.alias for name, metric in found.items()} == ALIAS
    assert len(set(ALIAS.values())) == len(ALIAS)
    assert found["Live/mass_g"].double_value == 12.34
    assert found["Live/mass_g"].properties.values[0].string_value == "g"
    assert found["Live/rate_pct_per_min"].properties.values[0].string_value == "%/min"
    assert found["Result/residue_pct"].is_null
    assert found["Live/state"].string_value == "sieving"


@pytest.mark.real
@pytest.mark.full
def test_the_npm_package_reads_births_and_data_alike() -> None:
    subject = node()
    subject.live(1500, LIVE)
    births = subject.birth(2000)
    data = subject.result(3000, FLAT)
    first, second, third = decoded_by_npm([message.payload for message in (*births, *data)])
    named = {metric["name"]: metric for metric in (*first["metrics"], *second["metrics"])}
    assert set(named) == {"bdSeq", "Node Control/Rebirth", *ALIAS}
    assert named["Live/mass_g"]["value"] == 12.34
    assert named["Live/mass_g"]["properties"]["engUnit"]["value"] == "g"
    assert [str(message["seq"]).removesuffix("n") for message in (first, second, third)] == ["0", "1", "2"]
    found = {int(str(metric["alias"]).removesuffix("n")): metric["value"] for metric in third["metrics"]}
    assert found[ALIAS["Result/residue_pct"]] == 12.9
    assert found[ALIAS["Result/simulated"]] is True


def test_data_goes_by_alias_and_only_what_changed() -> None:
    subject = node()
    assert subject.live(1000, LIVE) == [], "nothing before a birth"
    subject.birth(2000)
    assert subject.live(3000, LIVE) == []
    (data,) = subject.live(4000, LIVE | {"mass_g": 12.5})
    assert data.topic == "spBv1.0/lab/DDATA/a1/rig"
    assert values(data.payload) == {ALIAS["Live/mass_g"]: 12.5}
    assert decoded(data.payload).metrics[0].name == ""
    (count,) = subject.outbox(5000, {"last_seq": 9, "waiting": 1, "set_aside": 0})
    assert count.topic == "spBv1.0/lab/NDATA/a1"
    assert seqs([data, count]) == [2, 3]


def test_a_result_is_new_values_and_an_earlier_one_changes_none() -> None:
    subject = node()
    subject.birth(1000)
    (new,) = subject.result(2000, FLAT)
    assert values(new.payload)[ALIAS["Result/residue_pct"]] == 12.9
    (old,) = subject.earlier_result(3000, 500, FLAT | {"residue_pct": 3.0, "seq": 2})
    metrics = decoded(old.payload).metrics
    assert all(metric.is_historical and metric.timestamp == 500 for metric in metrics)
    assert values(old.payload)[ALIAS["Result/residue_pct"]] == 3.0
    again = values(subject.birth(4000)[1].payload)
    assert again["Result/residue_pct"] == 12.9
    assert again["Result/seq"] == 7


def test_every_metric_of_live_and_result_is_a_field_that_is_sent() -> None:
    fields = {"Live": set(schema("live")["properties"]), "Result": set(schema("latest")["properties"])}
    branches = [known.name.partition("/") for known in DEVICE_METRICS]
    assert [name for branch, _, name in branches if name not in fields[branch]] == []


def test_seq_counts_over_all_messages_and_wraps() -> None:
    subject = node()
    sent = subject.birth(1000)
    for place in range(600):
        sent += subject.live(2000 + place, LIVE | {"mass_g": float(place)})
    assert seqs(sent) == [number % 256 for number in range(602)]
    assert seqs(subject.birth(9000)) == [0, 1]


def test_bdseq_wraps_after_255() -> None:
    assert [next_bdseq(0), next_bdseq(254), next_bdseq(255)] == [1, 255, 0]


ANY = st.one_of(
    st.tuples(st.just(NCMD), st.binary(max_size=60)),
    st.tuples(st.just(NCMD), st.just(command(REBIRTH_COMMAND))),
    st.tuples(
        st.sampled_from((f"{NCMD}/x", "spBv1.0/lab/DCMD/a1/rig", "spBv1.0/lab/NCMD/b2", "")), st.binary()
    ),
)


@settings(deadline=None, max_examples=100)
@given(st.lists(ANY, max_size=20))
def test_whatever_comes_in_can_only_send_the_same_births_again(inbound: list[tuple[str, bytes]]) -> None:
    """A node that is spoken to and one that is not end in the same state, but for their count."""
    spoken_to, silent = node(), node()
    for subject in (spoken_to, silent):
        subject.live(900, LIVE)
        subject.birth(1000)
    for topic, data in inbound:
        asked = spoken_to.command(topic, data)
        assert topic == NCMD or not asked
        if asked:
            births = spoken_to.birth(2000)
            assert [birth.topic.split("/")[2] for birth in births] == ["NBIRTH", "DBIRTH"]
            assert seqs(births) == [0, 1]
    assert [message.payload for message in spoken_to.birth(3000)] == [
        message.payload for message in silent.birth(3000)
    ]


def test_what_is_no_request_is_counted() -> None:
    subject = node()
    for data in (b"\xff", b"", command(REBIRTH_COMMAND | {"boolean_value": False})):
        assert not subject.command(NCMD, data)
    assert subject.ignored == 3


@pytest.mark.parametrize(
    ("heard", "online", "ignored"),
    [
        ([b'{"online": true, "timestamp": 5}'], True, 0),
        ([b'{"online": true, "timestamp": 5}', b'{"online": false, "timestamp": 5}'], False, 0),
        ([b'{"online": true, "timestamp": 5}', b'{"online": false, "timestamp": 4}'], True, 1),
        ([b"ONLINE"], False, 1),
        ([b'{"online": 1, "timestamp": 5}', b"[]", b"\xff", b'{"online": true}'], False, 4),
    ],
)
def test_the_host_is_there_when_its_newest_state_says_so(
    heard: list[bytes], online: bool, ignored: int
) -> None:
    watch = HostWatch()
    for message in heard:
        watch.heard(message)
    assert (watch.online, watch.ignored) == (online, ignored)


@settings(deadline=None, max_examples=100)
@given(st.binary() | st.text().map(str.encode))
def test_any_state_leaves_a_host_that_is_not_there(message: bytes) -> None:
    watch: Any = HostWatch()
    watch.heard(message)
    assert watch.online in (False, True)
