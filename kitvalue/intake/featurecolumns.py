"""The columns of declared features in a table beside the price book, read by the words and readers of prices.csv."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kitvalue.intake.bookcolumns import Feature, feature_number, feature_reader, feature_values
from kitvalue.intake.columns import ColumnFindings, number_column, word_column
from kitvalue.intake.numbers import Amount
from kitvalue.intake.shop import Shop
from kitvalue.intake.tables import TextTable


@dataclass(frozen=True, slots=True)
class FeatureColumns:
    """The columns of features, and what was found while those of numbers were read."""

    columns: tuple[Feature, ...]
    findings: tuple[ColumnFindings[Amount], ...]


def feature_columns(table: TextTable, shop: Shop, names: Iterable[str], counted: Sequence[bool]) -> FeatureColumns:
    """Of the features `names` those that the table has a column for. Rows that are not `counted` prove nothing."""
    columns: list[Feature] = []
    findings: list[ColumnFindings[Amount]] = []
    for name in names:
        if name not in table.header.places:
            continue
        kind = shop.prices.features[name]
        if kind == "number":
            cure = "write a number, or leave it blank"
            found = number_column(table, name, feature_number, lambda amount: None, cure, shop.files.decimal, counted)
            findings.append(found)
            column = feature_values(found.column)
        else:
            reader = feature_reader(name, kind, shop.prices.words.get(name, {}))
            column = word_column(table, name, reader, "write a word, or leave it blank")
        columns.append(Feature(name, kind, column))
    return FeatureColumns(tuple(columns), tuple(findings))
