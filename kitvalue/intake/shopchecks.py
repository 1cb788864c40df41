"""What can be wrong in shop.toml beyond the types of single keys."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from kitvalue.intake.currencies import meanings
from kitvalue.intake.problems import Problem, shown
from kitvalue.intake.settings import TomlFile
from kitvalue.intake.vocabulary import CHANNELS, GRADES, OPTIONAL, PRICE_KINDS, REQUIRED, TRUTHS, grade
from kitvalue.intake.words import fold, listed, nearest

if TYPE_CHECKING:
    from kitvalue.intake.shop import Shop

_RESERVED: Final = frozenset(["log_pieces", "sold", "dealer", "auction", "years", "intercept", "row", "file", "hammer"])
_WORDY: Final = ("condition", "price_kind", "channel", "currency")


def shop_problems(shop: Shop, toml: TomlFile) -> list[Problem]:
    """Every such problem."""
    checks = (_encoding, _columns, _features, _words, _jot, _series, _destinations)
    return [problem for check in checks for problem in check(shop, toml)]


def _encoding(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    name = shop.files.encoding
    if name is None:
        return
    try:
        is_text = bool(getattr(codecs.lookup(name), "_is_text_encoding", True))
    except (LookupError, ValueError):
        is_text = False
    if not is_text:
        message = f'{shown(name)} is no encoding; write "utf-8", "cp1252" or the like, or take the key out'
        yield toml.problem(("files", "encoding"), "encoding", message, name)


def _columns(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    known = (*REQUIRED, *OPTIONAL, *shop.prices.features)
    headers: dict[str, str] = {}
    for name, header in shop.prices.columns.items():
        where = ("prices", "columns", name)
        if name not in known:
            message = f"there is no column {shown(name)}; {_or_known(name, known)}"
            if fold(header) in map(fold, known):
                message += " (write our name before the = and the file's header behind it)"
            yield toml.problem(where, "unknown_key", message, name)
        elif fold(header) in headers:
            message = f"{shown(header)} is already mapped to {headers[fold(header)]}; a header can be one column only"
            yield toml.problem(where, "mapped_twice", message, header)
        headers.setdefault(fold(header), name)


def _or_known(name: str, known: tuple[str, ...]) -> str:
    likely = nearest(name, known)
    return f"did you mean {likely}?" if likely else f"known: {listed(known, 30)}"


def _features(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    seen: set[str] = set()
    for name in shop.prices.features:
        where = ("prices", "features", name)
        if fold(name) in {*REQUIRED, *OPTIONAL, *_RESERVED}:
            message = f"{shown(name)} is already a name of the program's own; choose another, and map its header"
            yield toml.problem(where, "reserved_name", message, name)
        elif not name.strip() or "=" in name or fold(name) in seen:
            why = "stands twice" if fold(name) in seen else "is no usable name"
            yield toml.problem(where, "bad_name", f"{shown(name)} {why}; choose another", name)
        seen.add(fold(name))


def _words(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    known = (*_WORDY, *shop.prices.features)
    for column, words in shop.prices.words.items():
        table = ("prices", "words", column)
        if column not in known and words:  # an empty table may stay when its feature is taken out
            message = f"no words can be mapped for {shown(column)}; {_or_known(column, known)}"
            yield toml.problem(table, "unknown_key", message, column)
            continue
        if shop.prices.features.get(column) == "number":
            yield toml.problem(
                table, "words_for_number", f"{column} is a number, so no words can be mapped for it", column
            )
        seen: dict[str, str] = {}
        for word, ours in words.items():
            where = (*table, word)
            if (why := _not_ours(shop, column, ours)) is not None:
                yield toml.problem(where, "unknown_word", f"{shown(ours)} {why}", ours)
            if seen.setdefault(fold(word), fold(ours)) != fold(ours):
                message = f"{shown(word)} is mapped twice, to different words; keep one"
                yield toml.problem(where, "mapped_twice", message, word)


def _jot(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    """Words of adverts: each stands for a meaning that is known, or for a value of a feature."""
    if not shop.jot.words:
        return
    from kitvalue.intake.adverts.lexicon import MEANINGS  # some hundred words that few shops need

    for word, meaning in shop.jot.words.items():
        where = ("jot", "words", word)
        name, sign, value = (part.strip() for part in meaning.partition("="))
        features = {fold(feature): feature for feature in shop.prices.features}
        if not word.strip():
            yield toml.problem(where, "blank", "a word is missing before the =", word)
        elif sign and fold(name) not in features:
            message = f"{shown(name)} is no feature of [prices.features]; {_or_known(name, tuple(features.values()))}"
            yield toml.problem(where, "unknown_word", message, meaning)
        elif sign and (why := _not_ours(shop, features[fold(name)], value)) is not None:
            yield toml.problem(where, "unknown_word", f"{shown(value)} {why}", meaning)
        elif not sign and fold(meaning) not in MEANINGS:
            hint = _or_known(meaning, MEANINGS)
            message = f'{shown(meaning)} is no meaning that is known; {hint}, or "feature=value"'
            yield toml.problem(where, "unknown_word", message, meaning)


def _not_ours(shop: Shop, column: str, ours: str) -> str | None:
    """Why a word cannot stand behind the = of a mapping."""
    if column == "condition":
        return None if grade(ours) is not None else f"is no grade; write 1 to 5 in halves, {listed(GRADES, last='or')}"
    if column == "price_kind":
        return None if fold(ours) in PRICE_KINDS else f"is no price kind; write {listed(PRICE_KINDS, last='or')}"
    if column == "channel":
        return None if fold(ours) in CHANNELS else f"is no channel; write {listed(CHANNELS, last='or')}"
    if column == "currency":
        return None if len(meanings(ours)) == 1 else "is no currency; write its code, such as EUR"
    if shop.prices.features.get(column) == "yes-no":
        return None if fold(ours) in TRUTHS else "is neither yes nor no; write one of them"
    return None if ours.strip() else "is blank; write a word"


def _series(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    owners: dict[str, str] = {}
    for name, table in shop.series.items():
        for spelling in (name, *table.also):
            where = ("series", name, "also") if spelling != name else ("series", name)
            if not spelling.strip():
                yield toml.problem(where, "blank", "a series needs a name", spelling)
            elif owners.setdefault(fold(spelling), name) != name:
                message = f"{shown(spelling)} names two series, {owners[fold(spelling)]} and {name}; keep it at one"
                yield toml.problem(where, "series_twice", message, spelling)


def _destinations(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    for place, one in shop.tax.destinations.items() if shop.tax is not None else ():
        if one.kind == "union" and one.duty > 0:
            message = f"{place} lies inside the union, where there is no duty; set it to 0, or kind to export"
            yield toml.problem(("tax", "destinations", place, "duty"), "duty_in_union", message, str(one.duty))
