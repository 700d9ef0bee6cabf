"""`lastgrain setup`: asks for a bench, tries each part as soon as it is known, and writes the bench file."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from logger.app.ids import UuidV7
from logger.app.learn import LearnOptions, Lesson, NotLearned
from logger.app.prompts import Person, Stopped, ask_yes
from logger.app.setup_file import KEPT, checked_bench, keep_answers, kept_answers, write_new
from logger.app.setup_questions import Answers, Question, Wrong, questions, read_profile
from logger.app.try_broker import try_broker
from logger.app.try_instrument import try_instrument
from logger.settings import ConfigError

AskSecret = Callable[[str], Awaitable[str]]

OPENING = (
    "Enter takes the proposal in brackets, b goes back, q stops; what was answered is kept and offered again. "
    "Nothing is written before the end, and no file is ever overwritten."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """What was written, and what was seen when it was tried."""

    bench_file: Path
    tried: Mapping[str, str] = field(default_factory=dict)


def require_new(path: Path) -> None:
    """Raises ConfigError when the bench file is there already."""
    if path.exists():
        raise ConfigError(
            path,
            "is there already and is never overwritten; edit it, move it away, or name another with --bench",
        )


async def set_up(path: Path, person: Person, ask_secret: AskSecret) -> SetUp:
    """The whole dialogue. Raises ConfigError, Stopped."""
    require_new(path)
    dialogue = _Dialogue(path, person, ask_secret)
    await dialogue.ask_all()
    text, _ = checked_bench(dialogue.answers, path)
    person.say(f"\n{text}")
    if not await ask_yes(person, f"Write this to {path}?", default=True):
        raise Stopped
    write_new(path, text)
    (path.parent / KEPT).unlink(missing_ok=True)
    return SetUp(bench_file=path, tried=dialogue.tried)


class _Dialogue:
    """The questions one after the other, back and forth."""

    def __init__(self, path: Path, person: Person, ask_secret: AskSecret) -> None:
        self._folder, self._person, self._ask_secret = path.parent, person, ask_secret
        self._kept = kept_answers(path.parent)
        self.answers: dict[str, str] = {"folder": str(path.parent)}
        self.tried: dict[str, str] = {}

    async def ask_all(self) -> None:
        self._person.say(OPENING)
        if self._kept:
            self._person.say("The answers of last time are proposed.")
        asked = questions()
        at, came_from = 0, [0]
        while at < len(asked):
            if not asked[at].wanted(self.answers):
                self.answers.pop(asked[at].key, None)
                at += 1
                continue
            if await self._ask(asked[at]):
                came_from.append(at)
                at += 1
            elif len(came_from) > 1:
                at = came_from.pop()

    async def _ask(self, question: Question) -> bool:
        """One question until its answer can be used; False to go back."""
        proposal = (
            self.answers.get(question.key) or self._kept.get(question.key) or question.default(self.answers)
        )
        choices = question.choices(self.answers)
        if choices:
            self._person.say("  " + "\n  ".join(f"{n}  {text}" for n, text in enumerate(choices, 1)))
        while True:
            typed = await self._person.ask(f"{question.text}{f' [{proposal}]' if proposal else ''}:")
            if typed == "b":
                return False
            if typed.isascii() and typed.isdigit() and choices and 1 <= int(typed) <= len(choices):
                typed = choices[int(typed) - 1]
            try:
                answer = question.check(typed or proposal, self.answers)
            except Wrong as wrong:
                self._person.say(str(wrong))
                continue
            if await self._take(question, answer):
                return True

    async def _take(self, question: Question, answer: str) -> bool:
        """Keeps the answer when trying it goes well, or when the person wants it all the same."""
        if answer == "learn":
            learned = await self._learn(question.key.removesuffix("_profile"))
            if learned is None:
                return False
            answer = learned
        self.answers[question.key] = answer
        if question.key == "password_file" and not answered_file(answer):
            await self._make_password(Path(answer))
        keep_answers(
            self._folder, {k: v for k, v in self.answers.items() if k not in ("folder", "digit_heard")}
        )
        if not question.tries:
            return True
        self._person.say("Trying it ...")
        well, sentence, digit = await try_part(question.tries, self.answers)
        if question.tries == "balance":
            self.answers["digit_heard"] = digit
        self.tried[question.tries] = sentence
        self._person.say(sentence)
        return well or await ask_yes(self._person, "Keep this answer all the same?", default=False)

    async def _learn(self, what: str) -> str | None:
        out = self._folder / f"{what}-profile.toml"
        if out.exists():
            self._person.say(
                f"{out} is there already and is never overwritten: give it as the profile, or move it."
            )
            return None
        out.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        quantity = read_profile(f"streamed-line-{what}").quantity
        options = LearnOptions(port=self.answers[f"{what}_port"], out=out, quantity=quantity)
        try:
            return str((await Lesson(options, self._person).run()).profile)
        except NotLearned as reason:
            self._person.say(str(reason))
            return None

    async def _make_password(self, path: Path) -> None:
        secret = await self._ask_secret(f"Password of {self.answers['username']} (it is not shown):")
        if secret:
            write_new(path, secret + "\n")
            self._person.say(f"Kept in {path}, readable by you alone.")


def answered_file(name: str) -> bool:
    """Whether the file that an answer names is there."""
    return Path(name).exists()


async def try_part(part: str, answers: Answers) -> tuple[bool, str, str]:
    """Whether an instrument is read or the broker takes a message, what came of it, and one digit as heard."""
    if part == "broker":
        return (*await try_broker(answers, UuidV7().new_id()), "")
    tried = await try_instrument(read_profile(answers[f"{part}_profile"]), answers[f"{part}_port"])
    digit = None if tried.last is None else tried.last.resolution
    return tried.well, tried.sentence(), "" if digit is None else f"{digit:g}"


async def set_up_from(path: Path, answers_file: Path, trying: bool) -> SetUp:
    """The same without a person: answers from a TOML file of texts and numbers. Raises ConfigError."""
    require_new(path)
    given = _read_answers(answers_file)
    answers: dict[str, str] = {"folder": str(path.parent)}
    for question in questions():
        if not question.wanted(answers):
            continue
        try:
            typed = given.pop(question.key, question.default(answers))
            answers[question.key] = question.check(typed, answers)
            if answers[question.key] == "learn":
                raise Wrong("learning needs a person: run `lastgrain learn` first and name the file it wrote")
        except Wrong as wrong:
            raise ConfigError(answers_file, f"{question.key}: {wrong}") from None
    if given:
        raise ConfigError(answers_file, f"{min(given)} is not asked for; leave it out")
    text, _ = checked_bench(answers, path)
    tried: dict[str, str] = {}
    for part in ("balance", "pressure", "broker") if trying else ():
        if part != "broker" or answers["broker"] == "yes":
            tried[part] = (await try_part(part, answers))[1]
    write_new(path, text)
    return SetUp(bench_file=path, tried=tried)


def _read_answers(path: Path) -> dict[str, str]:
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        reason = (
            os.strerror(error.errno).lower() if isinstance(error, OSError) and error.errno else str(error)
        )
        raise ConfigError(path, f"cannot be read: {reason}") from None
    for key, value in found.items():
        if not isinstance(value, str | int | float) or isinstance(value, bool):
            raise ConfigError(path, f"{key} must be a text or a number")
    return {key: str(value) for key, value in found.items()}
