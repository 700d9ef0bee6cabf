"""Instruments that nobody makes: invented ways to write a value, from parts that a seeded generator mixes.

Written without any look at the codec or at the inference: a dialect only knows how to write a line from what the
display shows. None is copied from a manual.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction

from tests.drivers.learn.uart import Wire

MASS = {"g": Fraction(1), "mg": Fraction(1, 1000), "kg": Fraction(1000)}
PRESSURE = {"Pa": Fraction(1), "hPa": Fraction(100), "kPa": Fraction(1000), "mbar": Fraction(100)}


@dataclass(frozen=True)
class Shown:
    """The display: whole steps of the last digit, net of the tare."""

    steps: int
    tare: int = 0
    stable: bool = True
    count: int = 0
    clock_s: int = 36_000
    over: bool = False


Part = Callable[[Shown], str]


@dataclass(frozen=True)
class Dialect:
    name: str
    unit: str
    decimals: int
    parts: tuple[Part, ...]
    end: bytes = b"\r\n"
    start: bytes = b""
    period_s: float = 0.1
    wire: Wire = field(default_factory=lambda: Wire(9600))
    request: bytes = b""
    suction: int = 1
    """-1 where suction is shown as a negative pressure."""
    has_stability: bool = True
    has_unit: bool = True
    check: Callable[[bytes], bytes] = lambda line: b""
    pauses: bool = True
    """False for a stream that comes without a pause between lines."""

    @property
    def is_balance(self) -> bool:
        return self.unit in MASS or self.unit in ("lb", "oz")

    def line(self, shown: Shown) -> bytes:
        body = self.start + "".join(part(shown) for part in self.parts).encode("latin-1")
        return body + self.check(body) + self.end

    def base_value(self, shown: Shown) -> float:
        """In g, or in Pa of suction."""
        size = (MASS | PRESSURE)[self.unit]
        return float(
            Fraction(shown.steps, 10**self.decimals) * size * (self.suction if not self.is_balance else 1)
        )


# --- parts --------------------------------------------------------------------------------------------


def digits(steps: int, decimals: int, mark: str = ".") -> str:
    whole, rest = divmod(abs(steps), 10**decimals)
    return f"{whole}{mark}{rest:0{decimals}d}" if decimals else str(whole)


def text(what: str) -> Part:
    return lambda shown: what


def mark(stable: str, moving: str) -> Part:
    return lambda shown: stable if shown.stable else moving


def net(style: str, decimals: int, mark: str = ".", width: int = 9, over: str = "", of: str = "net") -> Part:
    """`style`: plain, float (sign before the digits, right-aligned), column (sign first, blanks, digits), plus,
    zero, pluszero, gap (sign, one blank, digits), trail (sign behind), eaten (the sign takes a zero's place)."""

    def write(shown: Shown) -> str:
        steps = {"net": shown.steps, "gross": shown.steps + shown.tare, "tare": shown.tare}[of]
        if shown.over and over:
            return over.rjust(len(number(style, 0, decimals, mark, width)))
        return number(style, steps, decimals, mark, width)

    return write


def number(style: str, steps: int, decimals: int, mark: str, width: int) -> str:
    plain, minus = digits(steps, decimals, mark), steps < 0
    sign = "-" if minus else ""
    return {
        "plain": f"{sign}{plain}",
        "plus": f"{'-' if minus else '+'}{plain}",
        "float": f"{sign}{plain}".rjust(width),
        "floatplus": f"{'-' if minus else '+'}{plain}".rjust(width),
        "column": f"{'-' if minus else ' '}{plain.rjust(width - 1)}",
        "columnplus": f"{'-' if minus else '+'}{plain.rjust(width - 1)}",
        "zero": f"{'-' if minus else ' '}{plain.rjust(width - 1, '0')}",
        "pluszero": f"{'-' if minus else '+'}{plain.rjust(width - 1, '0')}",
        "eaten": f"-{plain.rjust(width - 1, '0')}" if minus else plain.rjust(width, "0"),
        "gap": f"{'- ' if minus else ''}{plain}",
        "gapplus": f"{'- ' if minus else '+ '}{plain}",
        "trail": f"{plain}{'-' if minus else ' '}",
        "trailwide": f"{plain.rjust(width)}{'-' if minus else '+'}",
        "trailbare": f"{plain}{'-' if minus else ''}",
    }[style]


def counter(width: int) -> Part:
    return lambda shown: f"{shown.count % 10**width:0{width}d}"


def free_counter() -> Part:
    return lambda shown: str(shown.count)


def clock() -> Part:
    return lambda shown: (
        f"{shown.clock_s // 3600 % 24:02d}:{shown.clock_s // 60 % 60:02d}:{shown.clock_s % 60:02d}"
    )


def date(pattern: str) -> Part:
    def write(shown: Shown) -> str:
        day, month, year = 1 + shown.clock_s // 86_400 % 28, 3, 2031
        return pattern.format(d=day, m=month, y=year)

    return write


def hex_sum(line: bytes) -> bytes:
    return f"{sum(line) % 256:02X}".encode()


def star_sum(line: bytes) -> bytes:
    return b"*" + hex_sum(line)


def decimal_sum(line: bytes) -> bytes:
    return f" {sum(line) % 1000:03d}".encode()


def raw_sum(line: bytes) -> bytes:
    value = 0
    for byte in line:
        value ^= byte
    return b"\x03" + bytes([value & 0x7F])


# --- the named ones -----------------------------------------------------------------------------------

G, KG, MG = "g", "kg", "mg"


def named() -> list[Dialect]:
    """Dialects that can be told."""
    s, t = mark, text
    return [
        Dialect("plain-crlf", G, 2, (net("plain", 2), t(" g")), has_stability=False),
        Dialect("letters-column", G, 3, (s("R", "M"), t(" "), net("columnplus", 3), t(" g"))),
        Dialect(
            "star-behind", G, 2, (net("float", 2), t(" g "), s("*", " ")), b"\n", wire=Wire(2400, 7, "even")
        ),
        Dialect(
            "star-ahead",
            G,
            2,
            (s("*", " "), net("float", 2, width=11), t(" g")),
            b"\r",
            wire=Wire(1200, 7, "odd"),
        ),
        Dialect(
            "comma-words", KG, 4, (s("ruhig", "wackelt"), t(";"), net("plain", 4, ","), t(";kg")), b"\r\n"
        ),
        Dialect(
            "etx",
            G,
            1,
            (t("W"), net("pluszero", 1), t("g"), s("!", "?")),
            b"\x03",
            b"\x02",
            wire=Wire(4800, 7, "even"),
        ),
        Dialect(
            "unit-left",
            G,
            2,
            (t("g  "), net("float", 2, ",", 10), t(" "), s("=", "~")),
            b"\r",
            wire=Wire(19200),
        ),
        Dialect("tab-fields", G, 3, (t("#\t"), net("plain", 3), t("\tg\t"), s("ok", "mv")), b"\n"),
        Dialect("unit-only-when-stable", G, 2, (net("column", 2, width=10), s(" g", "  ")), b"\r\n"),
        Dialect("unit-dropped", G, 2, (net("plain", 2), s(" g", "")), b"\r\n"),
        Dialect("gap-sign", G, 2, (net("gap", 2), t(" g "), s("S", "D")), b"\r\n"),
        Dialect("gap-plus", KG, 3, (net("gapplus", 3), t(" kg "), s("S", "D")), b"\r\n"),
        Dialect("sign-behind", G, 2, (net("trail", 2), t(" g "), s("st", "un")), b"\r\n"),
        Dialect("sign-behind-wide", G, 2, (s("A", "B"), t(" "), net("trailwide", 2), t("g")), b"\r\n"),
        Dialect("zeros", MG, 0, (t("M:"), net("pluszero", 0), t(" mg,"), s("s", "u")), b"\r\n"),
        Dialect("zeros-eaten", G, 2, (net("eaten", 2), t(" g "), s("s", "u")), b"\r\n"),
        Dialect("milligrams", MG, 0, (net("float", 0, width=8), t(" mg "), s("H", "L")), b"\n", period_s=0.2),
        Dialect("counter", G, 2, (counter(4), t(" "), net("float", 2), t(" g "), s("o", "x")), b"\r\n"),
        Dialect(
            "free-counter",
            G,
            2,
            (t("n"), free_counter(), t(": "), net("plus", 2), t(" g "), s("o", "x")),
            b"\r\n",
        ),
        Dialect(
            "dated",
            G,
            2,
            (date("{d:02d}.{m:02d}.{y}"), t(" "), clock(), t("  "), net("float", 2), t(" g "), s("o", "x")),
        ),
        Dialect(
            "iso-dated",
            KG,
            3,
            (
                date("{y}-{m:02d}-{d:02d}"),
                t("T"),
                clock(),
                t(";"),
                net("plus", 3),
                t(";kg;"),
                s("still", "moves"),
            ),
        ),
        Dialect("identity", G, 2, (t("ID4711 "), net("float", 2), t(" g "), s("o", "x"))),
        Dialect(
            "hex-sum", G, 2, (s("o", "x"), t(" "), net("columnplus", 2), t(" g ")), b"\r\n", check=star_sum
        ),
        Dialect(
            "decimal-sum",
            G,
            3,
            (s("o", "x"), t(" "), net("columnplus", 3), t(" g")),
            b"\r\n",
            check=decimal_sum,
        ),
        Dialect(
            "net-tare",
            G,
            2,
            (s("o", "x"), t(" N "), net("float", 2), t(" g T "), net("float", 2, of="tare"), t(" g")),
        ),
        Dialect(
            "gross-net-tare",
            G,
            1,
            (
                net("plain", 1, of="gross"),
                t("\t"),
                net("plain", 1),
                t("\t"),
                net("plain", 1, of="tare"),
                t("\tg\t"),
                s("S", "M"),
            ),
            b"\n",
        ),
        Dialect("csv", G, 2, (s("ST", "US"), t(",NT,"), net("pluszero", 2), t(",g"))),
        Dialect(
            "flag-net",
            G,
            2,
            (lambda sh: "NT" if sh.tare else "GS", t(","), s("ST", "US"), t(","), net("plus", 2), t(",g")),
        ),
        Dialect(
            "burst",
            G,
            2,
            (net("float", 2), t(" g "), s("*", " ")),
            b"\r\n",
            period_s=0.01,
            wire=Wire(115200),
            pauses=False,
        ),
        Dialect("slow", G, 4, (net("float", 4), t(" g "), s("*", " ")), b"\r\n", period_s=1.0),
        Dialect("carat-over", G, 2, (s("R", "M"), t(" "), net("columnplus", 2, over="^^^^^^"), t(" g"))),
        Dialect(
            "asked",
            G,
            3,
            (s("R", "M"), t(" "), net("columnplus", 3), t(" g")),
            b"\r\n",
            request=b"?\r\n",
            period_s=0.2,
        ),
        Dialect(
            "asked-enq",
            G,
            2,
            (net("plus", 2), t("g")),
            b"\r",
            request=b"\x05",
            has_stability=False,
            period_s=0.2,
        ),
        Dialect("pascal", "Pa", 1, (t("dp="), net("plus", 1), t(" Pa;"), s("ok", "mv")), b"\n"),
        Dialect(
            "kilopascal",
            "kPa",
            4,
            (t("P1,"), net("plus", 4), t(",kPa")),
            b"\r\n",
            suction=-1,
            has_stability=False,
        ),
        Dialect(
            "millibar",
            "mbar",
            3,
            (net("float", 3, ","), t(" mbar")),
            b"\r",
            has_stability=False,
            wire=Wire(19200, 8, "even"),
        ),
        Dialect(
            "hectopascal",
            "hPa",
            3,
            (t("hPa "), net("column", 3, width=8), t(" "), s(".", "!")),
            b"\r\n",
            suction=-1,
        ),
        Dialect(
            "two-stop",
            "Pa",
            0,
            (t("p "), net("float", 0, width=7), t(" Pa")),
            b"\r\n",
            has_stability=False,
            wire=Wire(4800, 7, "none", 2),
        ),
        Dialect("no-unit", G, 2, (net("float", 2), t(" "), s("*", " ")), has_unit=False),
        Dialect("line-feed-first", G, 2, (net("float", 2), t(" g "), s("*", "-")), b"\r", b"\n"),
    ]


def untellable() -> list[Dialect]:
    """Dialects that must be answered with "cannot tell"."""
    s, t = mark, text
    grams = (net("float", 2), t(" g "), s("*", " "))
    return [
        Dialect("no-end", G, 2, grams, b""),
        Dialect("raw-checksum", G, 2, grams, b"", b"\x02", check=raw_sum),
        Dialect("pounds", "lb", 3, (net("float", 3), t(" lb "), s("*", " "))),
        Dialect("inches-of-water", "inH2O", 3, (net("plus", 3), t(" inH2O "), s("*", " "))),
        Dialect("exponent", G, 2, (lambda sh: f"{sh.steps / 100:+.5E}", t(" g"))),
        Dialect("degree-sign", G, 2, (*grams, t("\xb0"))),
        Dialect("thousands", MG, 0, (lambda sh: f"{sh.steps:,}", t(" mg"))),
        Dialect(
            "brackets-for-minus",
            G,
            2,
            (lambda sh: f"({digits(sh.steps, 2)})" if sh.steps < 0 else f" {digits(sh.steps, 2)} ", t(" g")),
        ),
        Dialect("minus-never-shown", G, 2, (lambda sh: digits(sh.steps, 2).rjust(9), t(" g"))),
        Dialect("always-the-same", G, 2, (lambda sh: "   12.34 g",)),
        Dialect("no-number", G, 2, (s("steady", "moving"),)),
        Dialect(
            "two-lines", G, 2, (t("N "), net("float", 2), t(" g\r\nT "), net("float", 2, of="tare"), t(" g"))
        ),
        Dialect("flag-behind-a-comma", MG, 0, (net("float", 0), s(",1", ",0"), t(" mg"))),
        Dialect("comma-everywhere", G, 2, (t("1,"), net("plain", 2, ","), t(",7"))),
    ]


# --- the generator ------------------------------------------------------------------------------------


def mixed(seed: int) -> Dialect:
    """A dialect nobody thought of. Some of them cannot be told by anyone."""
    rng = random.Random(seed)
    balance = rng.random() < 0.7
    unit = rng.choice(["g", "g", "kg", "mg"] if balance else ["Pa", "hPa", "kPa", "mbar"])
    decimals = {
        "g": (1, 2, 3, 4),
        "kg": (3, 4, 5),
        "mg": (0, 1),
        "Pa": (0, 1),
        "hPa": (2, 3),
        "kPa": (3, 4),
        "mbar": (2, 3),
    }[unit]
    places = rng.choice(decimals)
    point = rng.choice([".", ".", ","])
    separator = rng.choice([" ", " ", "  ", ";", "\t", ",", ""])
    styles = [
        "plain",
        "plus",
        "float",
        "floatplus",
        "column",
        "columnplus",
        "zero",
        "pluszero",
        "eaten",
        "gap",
        "gapplus",
        "trail",
        "trailwide",
        "trailbare",
    ]
    style, width = rng.choice(styles), rng.randint(9, 12)
    value = net(style, places, point, width)
    marks = rng.choice(
        [
            ("S", "D"),
            ("ST", "US"),
            ("*", " "),
            ("=", "~"),
            ("", "?"),
            ("stable", "unstable"),
            ("0", "1"),
            ("", " ~"),
            ("ready", "wait"),
        ]
    )
    stable = rng.random() < 0.85
    shows_unit = rng.random() < 0.9
    unit_text = rng.choice([unit, unit, unit, unit.upper() if unit != "mg" else unit])
    body: list[list[Part]] = [[value]]
    if shows_unit and rng.random() < 0.8:
        body[0] += [text(rng.choice(["", " ", "  ", separator])), text(unit_text)]
    elif shows_unit:
        unit_text = unit
        body[0] = [text(unit), text(rng.choice([" ", "  ", ":"])), value]
    if stable:
        body.insert(rng.choice([0, len(body)]), [mark(*marks)])
    extras: list[list[Part]] = [
        [counter(rng.choice([3, 4, 6]))],
        [free_counter()],
        [clock()],
        [date(rng.choice(["{d:02d}.{m:02d}.{y}", "{y}-{m:02d}-{d:02d}", "{d:02d}/{m:02d}/{y}"]))],
        [text(rng.choice(["N", "NET", "W:", "ID42", "P1", "dp", "#", "B-7"]))],
        [text("T "), net("float", places, point, width, of="tare")] if balance else [text("CH2")],
        [text("G "), net("float", places, point, width, of="gross")] if balance else [text("CH2")],
    ]
    for extra in rng.sample(extras, rng.choice([0, 0, 1, 1, 2, 3])):
        body.insert(rng.randint(0, len(body)), extra)
    joiner = separator or " "
    parts: list[Part] = []
    for i, item in enumerate(body):
        parts += [text(joiner)] if i else []
        parts += item
    end = rng.choice([b"\r\n", b"\r\n", b"\r", b"\n", b"\x03", b"\r\n\r\n", b"\x03\r\n"])
    bits, parity, stop = rng.choice(
        [
            (8, "none", 1),
            (8, "none", 1),
            (7, "even", 1),
            (7, "odd", 1),
            (7, "none", 2),
            (8, "even", 1),
            (8, "odd", 1),
            (8, "none", 2),
        ]
    )
    return Dialect(
        f"mixed-{seed}",
        unit,
        places,
        tuple(parts),
        end,
        b"\x02" if b"\x03" in end or rng.random() < 0.1 else b"",
        rng.choice([0.05, 0.1, 0.2, 0.5]),
        Wire(rng.choice([1200, 2400, 4800, 9600, 19200, 38400]), bits, parity, stop),
        suction=1 if balance else rng.choice([1, -1]),
        has_stability=stable,
        has_unit=shows_unit,
        check=rng.choice([lambda line: b""] * 5 + [star_sum, decimal_sum, lambda line: b" " + hex_sum(line)]),
        pauses=rng.random() < 0.8,
    )
