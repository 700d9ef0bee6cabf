"""`--data` and `--bench` before and after the command's name, for every command there is."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.app.stores import lastgrain, made_store
from tests.core.run.made_runs import method
from tests.reference_pages import every_command

COMMANDS = every_command()


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_takes_them_in_both_places(command: str, tmp_path: Path) -> None:
    given = ("--data", str(tmp_path), f"--bench={tmp_path / 'bench.toml'}")
    words = command.split()

    between = lastgrain(words[0], *given, *words[1:], "--help")
    after = lastgrain(*given, *words, *given, "--help")

    assert [between.code, after.code] == [0, 0]
    assert between.out == after.out


def test_what_is_no_option_is_still_refused(tmp_path: Path) -> None:
    done = lastgrain("runs", "list", "--dta", str(tmp_path))
    assert (done.code, "No such option" in done.err) == (2, True)


def test_the_table_is_whole() -> None:
    assert len(COMMANDS) > 60
    assert {"runs list", "shift air", "schema", "demo"} < set(COMMANDS)


@pytest.mark.parametrize(
    "words",
    ["-D runs list", "runs -D list", "runs list -D", "-D runs -B list", "runs list -B -D", "-N runs list -D"],
)
def test_they_mean_the_same_in_every_place_and_the_last_one_counts(words: str, tmp_path: Path) -> None:
    store = made_store(tmp_path / "here")
    store.run(method())
    options = {
        "-D": ["--data", str(tmp_path / "here")],
        "-B": ["--bench", "no.toml"],
        "-N": ["--data", "nowhere"],
    }

    done = lastgrain(*(each for word in words.split() for each in options.get(word, [word])))

    assert done.code == 0, done.err
    assert len(done.out.splitlines()) == 2


def test_a_group_that_is_a_command_too_passes_them_on(tmp_path: Path) -> None:
    done = lastgrain(
        "shift",
        "--data",
        str(tmp_path / "none"),
        "air",
        "--by",
        "op-7",
        "--temperature",
        "20",
        "--humidity",
        "50",
    )

    assert done.code != 0
    assert str(tmp_path / "none") in done.err
    assert not (tmp_path / "none").exists()


def test_one_call_leaves_nothing_for_the_next(tmp_path: Path) -> None:
    lastgrain("runs", "list", "--data", str(tmp_path), "--bench", "no.toml")
    assert "no.toml" not in lastgrain("doctor", "--data", str(tmp_path)).out
