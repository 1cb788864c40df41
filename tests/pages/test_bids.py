"""Up to what price offers pay, on the owner's page."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.report import judged_for_all, offers_seen
from kitvalue.decisions.portfolio import Bought, Portfolio
from kitvalue.decisions.verdict import bid_of
from kitvalue.pages import charts
from kitvalue.pages.figures import exact
from kitvalue.pages.pictures.frame import NARROW, WIDE
from kitvalue.pages.report import to_do
from kitvalue.pages.sections.offers import OfferSeen, offers_chart, offers_section, valued
from tests import TODAY
from tests.pages.given import fit_of, given
from tests.pages.markup import page_of
from tests.shops import run, sample_shop


def seen(place: Path, *rows: str) -> tuple[OfferSeen, ...]:
    shop = sample_shop(place)
    if rows:
        head = "offer;series;pieces;condition;price;freight;sizes;bought_from;haggle;note"
        (shop / "offers.csv").write_text("\n".join([head, *rows, ""]), encoding="utf-8")
    folder = ShopFolder(shop, TODAY)
    return offers_seen(folder, folder.market.fit, judged_for_all(folder, folder.market.fit))


def drawn(figure: charts.Figure, gid: str) -> list[float]:
    return [float(line.get_xdata()[0]) for line in figure.axes[0].lines if line.get_gid() == gid]  # type: ignore[index, arg-type]


def test_the_price_to_stop_at_is_drawn_where_the_axis_reaches(tmp_path: Path) -> None:
    values = valued(seen(tmp_path))
    chart, strips = offers_chart(values, "EUR"), [v.strip for v in values]
    for layout in (WIDE, NARROW):
        figure = chart.draw(layout)
        low, high = figure.axes[0].get_xlim()
        stops = [s.stop_at for s in strips if s.stop_at is not None and low <= s.stop_at <= high]
        assert drawn(figure, "stop") == stops
        assert len(stops) >= 6
    assert low > min(s.outlook.typical for s in strips) / 5  # a price near 0 does not stretch the axis
    assert [row.cells[-1] for row in chart.table.rows if row.cells[-1] != "\N{EN DASH}"] == [
        exact(bid) for s in strips if (bid := bid_of(s.stop_at, Decimal(5))) is not None
    ]
    beyond = [s.stop_at for s in strips if s.stop_at is not None and not low <= s.stop_at <= high]
    assert drawn(figure, "stop-beyond") == [min(max(one, low), high) for one in beyond]  # arrows at the edges


def test_the_page_gives_the_prices_that_the_command_gives_for_the_best_use_of_any_plan(tmp_path: Path) -> None:
    offers, best = seen(tmp_path), dict[str, dict[str, object]]()
    for args in ((), ("--plan", "inishmore-restored"), ("--plan", "seven-piece")):
        for one in run(tmp_path / "shop", "shortlist", *args, "--json").data["offers"]:
            if one["offer"] not in best or one["expected_profit"] > best[one["offer"]]["expected_profit"]:
                best[one["offer"]] = one | {"plan": args[-1] if args else None}
    table = offers_section(offers, "EUR", fit_of()).tables[0]
    assert table.caption.startswith("Up to what price they pay")
    bids = {name: bid_of(one["stop_at"], Decimal(5)) for name, one in best.items()}
    assert {row.cells[0]: row.cells[2] for row in table.rows} == {
        name: "\N{EN DASH}" if bid is None else exact(bid) for name, bid in bids.items()
    }
    plans = [one["plan"] for one in best.values() if one["best_use"] == "rebuild" and one["verdict"]["code"] != "pass"]
    assert sorted(
        str(row.cells[5]).split(" for ")[1].split(",")[0] for row in table.rows if " for " in row.cells[5]
    ) == (sorted(map(str, plans)))


def test_the_page_tells_what_to_buy_together(tmp_path: Path) -> None:
    buy = (Bought("D01", "parts", None, "full"), Bought("D02", "rebuild", "seven-piece", "full", "A"))
    found = Portfolio(buy, 210.0, 0.08, 930.0, 31.0, 1000.0, None, False, 250.0, 40.0)
    table = offers_section(seen(tmp_path), "EUR", fit_of(), found).tables[1]
    assert [row.cells for row in table.rows] == [
        ("D01", "parts", "\N{EN DASH}"), ("D02", "rebuild, seven-piece", "A"),
    ]  # fmt: skip
    assert "930" in table.notes[0]
    assert "no set earns more than 250" in table.notes[0]


def test_an_offer_that_pays_is_worth_a_call_with_its_prices(tmp_path: Path) -> None:
    offers = seen(tmp_path, "D1;Inishmore;5;3;1000;60;;;10;", "D2;Burren;4;3;600;40;;;;")
    calls = to_do(replace(given(), builds=(), offers=offers, problems=()))[0]
    assert [note.label for note in calls.notes] == ["D1"]
    one = next(seen.judged for seen in offers if seen.offer.offer == "D1")
    assert one is not None
    bid = one.verdict.price
    assert bid is not None
    assert bid % 5 == 0
    assert calls.notes[0].value == f"up to EUR\N{NO-BREAK SPACE}{exact(bid)}"
    assert calls.notes[0].note.startswith(one.verdict.sentence)
    assert not any(sign in f"{calls.notes[0].value}{calls.notes[0].note}" for sign in ("-", "\N{MINUS SIGN}"))


def test_a_build_that_loses_is_never_set_like_a_price_to_ask(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    assert run(shop, "report").status == 0
    page = page_of((shop / "out" / "report.html").read_text(encoding="utf-8"))
    lists = [element for element in page.all("div") if element.attributes.get("class") == "list"]
    assert [one.all("h3")[0].text for one in lists] == ["Buy", "Build", "Mend"]
    for name, item in zip(("inishmore-restored", "seven-piece"), lists[1].all("li"), strict=False):
        verdict = run(shop, "cost", name, "--json").data["verdict"]
        assert verdict["sentence"] in item.text
        assert item.all("b")[0].text.startswith("ask ") == (verdict["code"] == "build")


def test_without_tax_settings_the_offers_are_valued_all_the_same(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    text = (shop / "shop.toml").read_text(encoding="utf-8")
    (shop / "shop.toml").write_text(text.split("[tax]")[0], encoding="utf-8")
    folder = ShopFolder(shop, TODAY)
    offers = offers_seen(folder, folder.market.fit, judged_for_all(folder, folder.market.fit))
    assert all(one.valuation is not None and one.judged is None for one in offers)
    view = offers_section(offers, "EUR", fit_of())
    assert [table.caption.split(",")[0] for table in view.tables] == ["Offers and what such kits sell for"]
    assert view.picture is not None
    assert [key.glyph for key in view.picture.keys] == ["asked", "typical", "level", "range"]


def test_the_sheet_says_its_verdict_and_warns_where_the_original_wins(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    for price, wins in (("6000", True), ("900", False)):
        ran = run(shop, "sheet", "seven-piece", "--at", price)
        assert ran.out.startswith("The original is" if wins else "Ours is")
        assert ("the original is the better buy" in ran.err) == wins
