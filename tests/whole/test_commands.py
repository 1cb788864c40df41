"""A random valid shop in, every command out."""

from __future__ import annotations

import click
from hypothesis import given

from kitvalue.cli.main import main
from tests.whole.contract import answer_of
from tests.whole.made import MadeShop
from tests.whole.running import answered, asked, books, commands, examples, laid_out
from tests.whole.shops import shops

WITHOUT_A_SHOP = {"new"}
WRITING = {"jot", "plan", "take"}  # have tests of their own


def test_every_command_is_run() -> None:
    assert isinstance(main, click.Group)
    with_shop = {args[0] for args in commands(_smallest())}
    assert with_shop == set(main.commands) - WITHOUT_A_SHOP - WRITING


def _smallest() -> MadeShop:
    from tests.whole.made import Dialect, Series

    return MadeShop({"prices": {"features": {}}}, {}, {"one": {}}, Dialect(), {}, Series("Burren"))


@examples(1)
@given(shops())
def test_every_command_answers_or_says_why_not(made: MadeShop) -> None:
    with laid_out(made) as folder:
        for args in commands(made):
            text, ran = answered(folder, *args), answered(folder, *args, "--json")
            answer_of(args[0], ran.out)
            assert ran.status == text.status, args
            assert ran.err == text.err, args


@examples(1)
@given(shops())
def test_asked_twice_the_same_bytes_come_back(made: MadeShop) -> None:
    with laid_out(made) as folder:
        first = [answered(folder, *args, *form) for args in commands(made) for form in ((), ("--json",))]
        files = {path: path.read_bytes() for path in books(folder)}
        assert [answered(folder, *args, *form) for args in commands(made) for form in ((), ("--json",))] == first
        assert {path: path.read_bytes() for path in books(folder)} == files


@examples(1)
@given(shops())
def test_the_saved_fit_answers_as_a_fresh_one(made: MadeShop) -> None:
    with laid_out(made) as folder:
        for args in commands(made):
            if args[0] in ("value", "price", "compare", "shortlist", "card", "sheet", "done"):
                asked(folder, *args)  # saves a fit where there is one
                saved = asked(folder, *args)
                files = {path: path.read_bytes() for path in books(folder)}
                (folder / "out" / "fit.json").unlink(missing_ok=True)
                if args[0] == "done" and not any(job["sold_for"] for job in (saved or {}).get("jobs", ())):
                    files.pop(folder / "out" / "fit.json", None)  # nothing sold needs no market
                fresh = asked(folder, *args)
                assert (saved is None) == (fresh is None)
                if saved is not None and fresh is not None:
                    assert saved | {"problems": []} == fresh | {"problems": []}, args
                    assert {path: path.read_bytes() for path in books(folder)} == files, args
