"""The questions of `lastgrain setup`: what is asked, what is proposed, and what an answer must be.

Answers are texts by key, so that they can be kept, read from a file and taken back one by one. A secret is never
an answer: only the name of the file that holds it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from drivers.link_error import LinkError
from drivers.modbus_profile import Profile
from drivers.modbus_profile_file import load_any_profile
from drivers.port_lock import device_present
from drivers.ports import bench_name, list_ports, ports_sentence, resolve_port
from drivers.toml_table import ProfileError
from drivers.transport import tcp_address
from drivers.units import Quantity
from logger.settings import ConfigError, config_dir, find_config

Answers = Mapping[str, str]
YES_NO = ("yes", "no")


class Wrong(ValueError):  # noqa: N818
    """An answer that cannot be used; the text says what is expected."""


def _anything(text: str, answers: Answers) -> str:
    return text


def _always(answers: Answers) -> bool:
    return True


def _nothing(answers: Answers) -> Sequence[str]:
    return ()


def _no_default(answers: Answers) -> str:
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing to know. `check` gives the answer as it is kept, or raises Wrong."""

    key: str
    text: str
    check: Callable[[str, Answers], str] = _anything
    default: Callable[[Answers], str] = _no_default
    choices: Callable[[Answers], Sequence[str]] = _nothing
    wanted: Callable[[Answers], bool] = _always
    tries: str = ""
    """What can be tried once this is answered: `balance`, `pressure` or `broker`."""


def questions() -> list[Question]:
    """All questions in their order; `wanted` says which of them a bench needs."""
    return [*_place(), *_instrument("balance"), *_balance(), *_instrument("pressure"), *_rest(), *_broker()]


def _place() -> list[Question]:
    return [
        Question(key="site", text="Name of the site, as topics and records carry it", check=_slug),
        Question(key="bench", text="Name of this bench", check=_slug, default=lambda answers: "bench-1"),
        Question(
            key="arrangement",
            text="Where does the balance stand? beside the rig, or under the whole sieving unit",
            check=_one_of("beside", "under"),
            default=lambda answers: "beside",
            choices=lambda answers: ("beside", "under"),
        ),
    ]


def _instrument(what: str) -> list[Question]:
    quantity = Quantity.MASS if what == "balance" else Quantity.PRESSURE
    title = "balance" if what == "balance" else "pressure transducer"
    return [
        Question(
            key=f"{what}_port",
            text=f"Port of the {title}: one of those shown, another device, serial:NUMBER or socket://HOST:PORT",
            check=_port,
            choices=lambda answers: [bench_name(port, ports) for ports in [list_ports()] for port in ports],
        ),
        Question(
            key=f"{what}_profile",
            text=f"Profile of the {title}: a shipped one, a file of your own, or type learn to have it learned now",
            check=lambda text, answers: _profile_name(text, quantity),
            choices=lambda answers: [*shipped_profiles(quantity), "learn"],
            tries=what,
        ),
    ]


def _balance() -> list[Question]:
    return [
        Question(
            key="readability_g",
            text="One digit of the balance's display, g",
            check=_above_zero,
            default=lambda answers: answers.get("digit_heard", ""),
        ),
        Question(
            key="repeatability_g",
            text="Repeatability, g: standard deviation of weighings at the load of a sieve, from its certificate",
            check=_above_zero,
            default=lambda answers: answers.get("readability_g", ""),
        ),
        Question(key="capacity_g", text="Capacity of the balance, g", check=_capacity),
    ]


def _rest() -> list[Question]:
    relay: Callable[[Answers], bool] = lambda answers: answers.get("permit", "none") != "none"  # noqa: E731
    return [
        Question(
            key="dp_high_pa",
            text="Differential pressure above which an alarm is raised, Pa",
            check=_above_zero,
            default=lambda answers: "6000",
        ),
        Question(
            key="permit",
            text="Is there a relay by which the tool can withdraw a permit and so stop the suction? none, line or modbus",
            check=_one_of("none", "line", "modbus"),
            default=lambda answers: "none",
            choices=lambda answers: ("none", "line", "modbus"),
        ),
        Question(key="permit_port", text="Port of the relay", check=_relay_port, wanted=relay),
        Question(
            key="heartbeat_s",
            text="After how many seconds without a heartbeat does the relay drop out by itself",
            check=_heartbeat,
            default=lambda answers: "5",
            wanted=relay,
        ),
    ]


def _broker() -> list[Question]:
    has: Callable[[Answers], bool] = lambda answers: answers.get("broker") == "yes"  # noqa: E731
    named: Callable[[Answers], bool] = lambda answers: has(answers) and bool(answers.get("username"))  # noqa: E731
    return [
        Question(
            key="broker",
            text="Are results sent to an MQTT 5 broker of the plant?",
            check=_one_of(*YES_NO),
            default=lambda answers: "no",
            choices=lambda answers: YES_NO,
        ),
        Question(
            key="host", text="Host name of the broker, as its certificate has it", check=_host, wanted=has
        ),
        Question(
            key="mqtt_port", text="Its TLS port", check=_tcp_port, default=lambda answers: "8883", wanted=has
        ),
        Question(
            key="ca_file",
            text="File (PEM) of the authority that made its certificate; empty for those this computer trusts",
            check=_file_or_empty,
            wanted=has,
        ),
        Question(
            key="username",
            text="User name of this bench at the broker; empty when it asks for none",
            wanted=has,
        ),
        Question(
            key="password_file",
            text="File that holds the password, readable by you alone; it is made when it does not exist",
            check=_absolute,
            default=lambda answers: str(Path(answers.get("folder", ".")) / "broker-password"),
            wanted=named,
            tries="broker",
        ),
    ]


def shipped_profiles(quantity: Quantity) -> list[str]:
    """Names of the shipped profiles of one quantity."""
    names = sorted(path.stem for path in (config_dir() / "profiles").glob("*.toml"))
    return [name for name in names if read_profile(name).quantity is quantity]


def read_profile(name: str) -> Profile:
    """A shipped profile or a file. Raises Wrong."""
    try:
        return load_any_profile(find_config("profiles", name))
    except ProfileError as error:
        raise Wrong(error.sentence()) from None
    except ConfigError as error:
        raise Wrong(f"{error.sentence()}.") from None


# --- checks -------------------------------------------------------------------------------------------


def _slug(text: str, answers: Answers) -> str:
    if not re.fullmatch(r"[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?", text):
        raise Wrong("It is used in topics: lower-case letters, digits and inner hyphens, at most 40.")
    return text


def _one_of(*choices: str) -> Callable[[str, Answers], str]:
    def check(text: str, answers: Answers) -> str:
        fitting = [choice for choice in choices if text and choice.startswith(text.lower())]
        if len(fitting) != 1:
            raise Wrong(f"Type one of {', '.join(choices)}.")
        return fitting[0]

    return check


def _port(text: str, answers: Answers) -> str:
    if not text:
        raise Wrong("Type a port.")
    try:
        device = resolve_port(text)
        if tcp_address(device) is None and not device_present(device):
            raise Wrong(f"{text} is not there: {ports_sentence(list_ports())}")
    except LinkError as error:
        raise Wrong(error.sentence[:1].upper() + error.sentence[1:]) from None
    # The service may start in another folder than the one that the person stands in.
    return str(Path(text).absolute()) if "/" in text and Path(text).exists() else text


def _relay_port(text: str, answers: Answers) -> str:
    port = _port(text, answers)
    if port in (answers.get("balance_port"), answers.get("pressure_port")):
        raise Wrong("That port is an instrument's; the relay needs one of its own.")
    return port


def _profile_name(text: str, quantity: Quantity) -> str:
    if text == "learn":
        return text
    if not text:
        raise Wrong("Type a name or a file.")
    profile = read_profile(text)
    if profile.quantity is not quantity:
        raise Wrong(f"{text} is a profile for {profile.quantity.value}, not for {quantity.value}.")
    return str(Path(text).absolute()) if Path(text).suffix == ".toml" else text


def number(text: str) -> float:
    """A finite plain decimal number. Raises Wrong."""
    if not text:
        raise Wrong("Type a number.")
    plain = text.replace(",", ".")
    if not re.fullmatch(r"\d{1,9}(\.\d{1,9})?", plain, re.ASCII):
        raise Wrong(f"{text!r} is no plain number: type digits, with a point where it has decimals.")
    return float(plain)


def _above_zero(text: str, answers: Answers) -> str:
    if not number(text) > 0:
        raise Wrong("It must be above zero.")
    return f"{number(text):g}"


def _capacity(text: str, answers: Answers) -> str:
    value = _above_zero(text, answers)
    if float(value) < 100 * float(answers.get("readability_g", 0)):
        raise Wrong("That is less than a hundred digits of this balance: give the capacity in g.")
    return value


def _heartbeat(text: str, answers: Answers) -> str:
    if not 1 <= number(text) <= 60:
        raise Wrong("It must be 1 to 60 s.")
    return f"{number(text):g}"


def _host(text: str, answers: Answers) -> str:
    if not re.fullmatch(r"[A-Za-z0-9](?:[A-Za-z0-9._:-]{0,252})?", text, re.ASCII):
        raise Wrong("Type a host name or an address.")
    return text


def _tcp_port(text: str, answers: Answers) -> str:
    if not text.isascii() or not text.isdigit() or not 0 < int(text) < 65536:
        raise Wrong("Type a number from 1 to 65535.")
    return text


def _file_or_empty(text: str, answers: Answers) -> str:
    if text and not Path(text).expanduser().is_file():
        raise Wrong(f"There is no file {text}.")
    return _absolute(text, answers) if text else ""


def _absolute(text: str, answers: Answers) -> str:
    if not text:
        raise Wrong("Type the name of a file.")
    return str(Path(text).expanduser().absolute())
